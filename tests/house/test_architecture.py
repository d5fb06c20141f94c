"""The rooms keep to themselves: read from the import statements and the calls in the source."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULES = sorted((ROOT / "scanner").rglob("*.py"))
ROOMS = ("book", "ground", "job", "calls", "pages")
SHARED = ("sheets", "schema", "units", "errors")
ANYTHING = (*ROOMS, *SHARED, "pipeline", "cli", "")

ARROWS = {
    **{room: (room, *SHARED) for room in ROOMS},
    "sheets": SHARED,
    "schema": ("schema", "units", "errors"),
    "units": (),
    "errors": (),
    "pipeline": (*ROOMS, *SHARED),
    "cli": ANYTHING,
    "": ("pipeline",),  # scanner/__init__.py offers the pipeline's verbs
    "__main__": ("cli",),
}
"""What each room may import. ``""`` is the package itself."""

LIBRARY_HOMES = {
    "click": ("cli",),
    "rich": ("cli",),
    "folium": ("pages.webmap",),
    "branca": ("pages.webmap",),
    "js_lib_leaflet": ("pages",),
    "jinja2": ("pages",),
    "sqlite3": ("calls.log.file",),
    "pyogrio": ("book",),
    "pyproj": ("ground.plane.frame", "book"),
    "scipy": ("calls", "ground"),
    "scourgify": ("book.county.wording",),
    "tomllib": ("book",),
    "xlsxwriter": ("sheets.writer",),
    "openpyxl": ("sheets", "book", "pages"),
    "tempfile": ("book", "pages.publish", "calls.log", "cli"),
    "shutil": ("book", "pages.publish", "calls.log", "cli"),
}
"""Libraries that belong into one place only."""

FILE_HOMES = ("book", "sheets", "pages.publish", "calls.log", "cli")
FILE_VERBS = {
    "write_text", "write_bytes", "open", "mkdir", "unlink", "rename", "rmdir", "touch",
    "read_csv", "read_excel", "read_file", "to_csv", "to_excel", "to_file",
}  # fmt: skip
CLOCKS = {"now", "utcnow", "today", "time", "perf_counter", "monotonic"}
CLOCK_OWNERS = {"datetime", "date", "time", "Timestamp"}
CHANCES = {"random", "uuid", "secrets"}


def name_of(module: Path) -> str:
    """``job.prices`` for scanner/job/prices.py; blank for the package itself."""
    parts = module.relative_to(ROOT / "scanner").with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


def is_at_home(name: str, homes: tuple[str, ...]) -> bool:
    return any(name == home or name.startswith(f"{home}.") for home in homes)


def imports_of(module: Path) -> set[str]:
    """Every module that is imported by name, wherever the statement stands."""
    found = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: imports are written out in full"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def calls_of(module: Path) -> list[ast.Call]:
    tree = ast.parse(module.read_text(encoding="utf-8"))
    return [node for node in ast.walk(tree) if isinstance(node, ast.Call)]


@pytest.fixture(params=MODULES, ids=lambda path: name_of(path) or "scanner")
def module(request: pytest.FixtureRequest) -> Path:
    return request.param


def test_only_listed_arrows(module: Path) -> None:
    home = name_of(module).split(".")[0]
    assert home in ARROWS, f"{home} is no room"
    ours = [name for name in imports_of(module) if name.split(".")[0] == "scanner"]
    rooms = [name.split(".")[1] if "." in name else "" for name in ours]
    # `from scanner import __version__` names the package, not a room.
    strays = {room if room in ANYTHING else "" for room in rooms} - set(ARROWS[home])
    assert not strays, f"{module} imports from {strays}"


def test_libraries_stay_where_they_belong(module: Path) -> None:
    name = name_of(module)
    for imported in imports_of(module):
        library = imported.split(".")[0]
        assert is_at_home(name, LIBRARY_HOMES.get(library, (name,))), f"{library} in {module}"


def test_every_library_is_declared(module: Path) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[><=~!\[ ;]", line)[0] for line in project["dependencies"]}
    declared = {
        name.replace("-", "_").removeprefix("django_").removeprefix("usaddress_")
        for name in declared
    }
    used = {imported.split(".")[0] for imported in imports_of(module)}
    assert used - set(sys.stdlib_module_names) - {"scanner"} <= declared


def test_files_are_touched_at_the_rim_only(module: Path) -> None:
    name = name_of(module)
    if is_at_home(name, FILE_HOMES):
        return
    touched = {
        getattr(call.func, "attr", getattr(call.func, "id", "")): call.lineno
        for call in calls_of(module)
        # Spreadsheets and JSON may be made in memory: to_csv() without a path writes nothing.
        if call.args or not getattr(call.func, "attr", "").startswith("to_")
    }
    strays = FILE_VERBS & touched.keys()
    # A frame's columns are renamed, files are too; only the second moves anything on the disk.
    strays -= {"rename"} if _renames_columns_only(module) else set()
    assert not strays, f"{module}: {[(verb, touched[verb]) for verb in sorted(strays)]}"


def _renames_columns_only(module: Path) -> bool:
    renames = [call for call in calls_of(module) if getattr(call.func, "attr", "") == "rename"]
    return all(
        call.keywords or (call.args and not isinstance(call.args[0], ast.Name)) for call in renames
    )


def test_core_has_no_clock_and_no_randomness(module: Path) -> None:
    if is_at_home(name_of(module), ("cli",)):
        return
    assert not {name.split(".")[0] for name in imports_of(module)} & CHANCES
    for call in calls_of(module):
        owner = getattr(call.func, "value", None)
        owner_name = getattr(owner, "attr", getattr(owner, "id", ""))
        verb = getattr(call.func, "attr", "")
        assert not (verb in CLOCKS and owner_name in CLOCK_OWNERS), f"{module}:{call.lineno}"
        assert owner_name != "random", f"{module}:{call.lineno}"


def test_nothing_prints_outside_the_command_line(module: Path) -> None:
    if not is_at_home(name_of(module), ("cli",)):
        assert "print" not in {getattr(call.func, "id", "") for call in calls_of(module)}


def test_modules_and_functions_stay_short(module: Path) -> None:
    text = module.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 300
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            docstring = ast.get_docstring(node, clean=False)
            first = node.body[1] if docstring and len(node.body) > 1 else node.body[0]
            length = (node.end_lineno or 0) - first.lineno + 1
            assert (docstring and len(node.body) == 1) or length <= 40, (
                f"{node.name}: {length} lines"
            )


def test_functions_take_six_arguments_at_most(module: Path) -> None:
    if is_at_home(name_of(module), ("cli",)):
        return
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef):
            taken = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            named = [argument.arg for argument in taken if argument.arg not in {"self", "cls"}]
            assert len(named) <= 6, f"{node.name} takes {len(named)}"


def test_every_package_is_packed() -> None:
    tool = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]
    packed = set(tool["setuptools"]["packages"]) - {"scanner.sample_data.book"}
    packages = (path.parent for path in MODULES if path.name == "__init__.py")
    assert packed == {".".join(path.relative_to(ROOT).parts) for path in packages}


def test_the_check_sees_a_stray_arrow(tmp_path: Path) -> None:
    stray = tmp_path / "stray.py"
    stray.write_text("def late():\n    from scanner.pages import webmap\n    import click\n")
    assert imports_of(stray) == {"scanner.pages.webmap", "click"}
    assert not is_at_home("job.prices", ("cli",))
    assert not is_at_home("pages.webmap_data", LIBRARY_HOMES["folium"])
