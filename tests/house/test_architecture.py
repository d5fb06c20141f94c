"""The rooms keep to themselves: read from the import statements and the calls in the source."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODULES = sorted((ROOT / "scanner").rglob("*.py"))
ROOMS = ("book", "ground", "job", "calls", "pages")
SHARED = ("plane", "store", "sheets", "schema", "units", "errors")
ANYTHING = (*ROOMS, *SHARED, "desk", "block_ground", "reuse", "block_work", "pipeline", "cli", "")

ARROWS = {
    **{room: (room, *SHARED) for room in ROOMS},
    "plane": ("plane", "errors"),
    "store": SHARED,
    "sheets": SHARED,
    "schema": ("store", "schema", "units", "errors"),
    "units": (),
    "errors": (),
    "block_ground": (*ROOMS, *SHARED),
    "desk": (*ROOMS, *SHARED, "block_ground"),
    "reuse": (*ROOMS, *SHARED, "block_ground"),
    "block_work": (*ROOMS, *SHARED, "block_ground", "reuse", "desk"),
    "pipeline": (*ROOMS, *SHARED, "block_ground", "block_work", "reuse"),
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
    "reportlab": ("pages.paper",),
    "bidi": ("pages.paper.typefaces",),
    "arabic_reshaper": ("pages.paper.typefaces",),
    "sqlite3": ("calls.log.file", "store.strange_database"),
    "pyogrio": ("book",),
    "pyproj": ("plane.frame", "book"),
    "scipy": ("calls",),
    "scourgify": ("book.county.address_words",),
    "tomllib": ("book",),
    "xlsxwriter": ("sheets.writer", "sheets.paper"),
    "openpyxl": ("sheets.workbooks",),
    "tempfile": ("store", "book", "pages.publish", "calls.log", "cli"),
    "shutil": ("store", "book", "pages.publish", "calls.log", "cli"),
}
"""Libraries that belong into one place only."""

FILE_HOMES = ("book", "sheets", "store", "pages.publish", "calls.log", "cli")
FILE_VERBS = {
    "write_text", "write_bytes", "open", "mkdir", "unlink", "rename", "rmdir", "touch",
    "read_csv", "read_excel", "read_file", "to_csv", "to_excel", "to_file",
}  # fmt: skip
CLOCKS = {"now", "utcnow", "today", "time", "perf_counter", "monotonic"}
CLOCK_OWNERS = {"datetime", "date", "time", "Timestamp"}
CHANCES = {"random", "uuid", "secrets"}

MOST_CODE, MOST_WORDS = 29_705, 4_453
"""Lines that all modules together may hold; the printed pages are on their way in. To come down to 10,500 and 4,500."""

MOST_LINES = {"pipeline": 225}
"""Modules that are longer than 200 lines of code, and are to become shorter."""


@dataclass(frozen=True)
class Module:
    """A module of ours: ``job.prices`` for scanner/job/prices.py, blank for the package itself."""

    name: str
    text: str
    tree: ast.Module

    def is_at_home(self, homes: tuple[str, ...]) -> bool:
        """Whether this is one of these modules or stands in one of these rooms."""
        return any(self.name == home or self.name.startswith(f"{home}.") for home in homes)

    @cached_property
    def nodes(self) -> list[ast.AST]:
        return list(ast.walk(self.tree))

    @cached_property
    def imports(self) -> set[str]:
        """Every module that is imported by name, wherever the statement stands."""
        plain = {x.name for node in self.nodes if isinstance(node, ast.Import) for x in node.names}
        parts = [node for node in self.nodes if isinstance(node, ast.ImportFrom)]
        return plain | {
            f"{'.' * node.level}{node.module}.{x.name}" for node in parts for x in node.names
        }

    @cached_property
    def calls(self) -> list[ast.Call]:
        return [node for node in self.nodes if isinstance(node, ast.Call)]

    @cached_property
    def functions(self) -> list[ast.FunctionDef]:
        return [node for node in self.nodes if isinstance(node, ast.FunctionDef)]


def read_module(path: Path, folder: Path) -> Module:
    parts = path.relative_to(folder).with_suffix("").parts
    text = path.read_text(encoding="utf-8")
    name = ".".join(part for part in parts if part != "__init__")
    return Module(name, text, ast.parse(text))


@pytest.fixture(scope="module")
def ours() -> list[Module]:
    """All modules, parsed once; not at import, which every worker does."""
    return [read_module(path, ROOT / "scanner") for path in MODULES]


def test_only_listed_arrows(ours: list[Module]) -> None:
    assert {module.name.split(".")[0] for module in ours} <= ARROWS.keys()
    strays = []
    for module in ours:
        ours = [name for name in module.imports if name.split(".")[0] == "scanner"]
        rooms = [name.split(".")[1] if "." in name else "" for name in ours]
        # `from scanner import __version__` names the package, not a room.
        used = {room if room in ANYTHING else "" for room in rooms}
        strays += [(module.name, room) for room in used - {*ARROWS[module.name.split(".")[0]]}]
    assert not strays


def test_imports_are_written_out_in_full(ours: list[Module]) -> None:
    assert not [(m.name, name) for m in ours for name in m.imports if name.startswith(".")]


def test_libraries_stay_where_they_belong(ours: list[Module]) -> None:
    assert not [
        (module.name, library)
        for module in ours
        for library in {name.split(".")[0] for name in module.imports} & LIBRARY_HOMES.keys()
        if not module.is_at_home(LIBRARY_HOMES[library])
    ]


def test_every_library_is_declared(ours: list[Module]) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[><=~!\[ ;]", line)[0] for line in project["dependencies"]}
    declared = {
        re.sub("^(django|usaddress|python)_", "", name.replace("-", "_")) for name in declared
    }
    used = {name.split(".")[0] for module in ours for name in module.imports}
    assert used - set(sys.stdlib_module_names) - {"scanner"} <= declared


def test_files_are_touched_at_the_rim_only(ours: list[Module]) -> None:
    assert not [
        (module.name, *touch)
        for module in ours if not module.is_at_home(FILE_HOMES)
        for touch in touches_of(module)
    ]  # fmt: skip


def touches_of(module: Module) -> list[tuple[str, int]]:
    """Verbs that read or write a file, each with its line."""
    touched = {
        getattr(call.func, "attr", getattr(call.func, "id", "")): call.lineno
        for call in module.calls
        # Spreadsheets and JSON may be made in memory: to_csv() without a path writes nothing.
        if call.args or not getattr(call.func, "attr", "").startswith("to_")
    }
    strays = FILE_VERBS & touched.keys()
    # A frame's columns are renamed, files are too; only the second moves anything on the disk.
    strays -= {"rename"} if renames_columns_only(module) else set()
    return [(verb, touched[verb]) for verb in sorted(strays)]


def renames_columns_only(module: Module) -> bool:
    renames = [call for call in module.calls if getattr(call.func, "attr", "") == "rename"]
    return all(
        call.keywords or (call.args and not isinstance(call.args[0], ast.Name)) for call in renames
    )


def test_core_has_no_clock_and_no_randomness(ours: list[Module]) -> None:
    core = [module for module in ours if not module.is_at_home(("cli",))]
    assert not [m.name for m in core if {name.split(".")[0] for name in m.imports} & CHANCES]
    assert not [
        (module.name, call.lineno)
        for module in core
        for call in module.calls
        if is_clock_or_chance(call)
    ]


def is_clock_or_chance(call: ast.Call) -> bool:
    owner = getattr(call.func, "value", None)
    owner_name = getattr(owner, "attr", getattr(owner, "id", ""))
    verb = getattr(call.func, "attr", "")
    return (verb in CLOCKS and owner_name in CLOCK_OWNERS) or owner_name == "random"


def test_nothing_prints_outside_the_command_line(ours: list[Module]) -> None:
    others = [module for module in ours if not module.is_at_home(("cli",))]
    assert not [
        (module.name, call.lineno)
        for module in others
        for call in module.calls
        if getattr(call.func, "id", "") == "print"
    ]


def test_modules_and_functions_stay_short(ours: list[Module]) -> None:
    assert not [m.name for m in ours if weigh(m)[0] > MOST_LINES.get(m.name, 200)]
    bodies = [(m.name, f.name, body_lines(f)) for m in ours for f in m.functions]
    assert not [body for body in bodies if body[2] > 40]


def body_lines(function: ast.FunctionDef) -> int:
    """Lines from the first statement after the docstring to the last."""
    docstring = ast.get_docstring(function, clean=False) is not None
    if docstring and len(function.body) == 1:
        return 0
    return (function.end_lineno or 0) - function.body[docstring].lineno + 1


def test_functions_take_six_arguments_at_most(ours: list[Module]) -> None:
    others = [module for module in ours if not module.is_at_home(("cli",))]
    taken = [(m.name, f.name, arguments_of(f)) for m in others for f in m.functions]
    assert not [one for one in taken if one[2] > 6]


def arguments_of(function: ast.FunctionDef) -> int:
    taken = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    return len([argument for argument in taken if argument.arg not in {"self", "cls"}])


def test_sections_of_docstrings_are_whole(ours: list[Module]) -> None:
    parts = []
    for module in ours:
        for function in module.functions:
            words = ast.get_docstring(function) or ""
            if "\nParameters\n---" not in words:
                continue
            told = re.findall(r"^\S.*$", words.split("\nParameters\n")[1].split("\n\n")[0], re.M)
            names = {name.strip(" *") for line in told[1:] for name in line.split(",")}
            taken = [*function.args.args, *function.args.kwonlyargs]
            lacking = {one.arg for one in taken} - names
            gives = ast.unparse(function.returns or ast.Constant(None)) != "None"
            if lacking or gives != bool(re.search("\n(Returns|Yields)\n---", words)):
                parts.append((module.name, function.name, lacking))
    assert not parts


def test_the_house_stays_light(ours: list[Module], capsys: pytest.CaptureFixture[str]) -> None:
    rooms = defaultdict[str, list[tuple[int, int]]](list)
    for module in ours:
        rooms[module.name.split(".")[0]].append(weigh(module))
    weights = {name: tuple(map(sum, zip(*room, strict=True))) for name, room in rooms.items()}
    with capsys.disabled():
        print("\nroom        modules    code   words")  # noqa: T201
        for name, (code, words) in sorted(weights.items()):
            print(f"{name or 'scanner':12}{len(rooms[name]):7}{code:8,}{words:8,}")  # noqa: T201
    code, words = map(sum, zip(*weights.values(), strict=True))
    with capsys.disabled():
        print(f"{'all':12}{len(ours):7}{code:8,}{words:8,}")  # noqa: T201
    assert code <= MOST_CODE
    assert words <= MOST_WORDS


def weigh(module: Module) -> tuple[int, int]:
    """Count lines of code and of docstrings, blank ones and comments left out."""
    lines = module.text.splitlines()
    words = set[int]()
    for node in module.nodes:
        holds_words = isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        if holds_words and ast.get_docstring(node, clean=False) is not None:
            words |= set(range(node.body[0].lineno, (node.body[0].end_lineno or 0) + 1))
    full = {at for at, line in enumerate(lines, 1) if line.strip()[:1] not in {"", "#"}}
    return len(full - words), len(full & words)


def test_every_package_is_packed() -> None:
    tool = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]
    packed = set(tool["setuptools"]["packages"]) - {
        "scanner.sample_data.book",
        "scanner.sample_data.season",
    }
    packages = (path.parent for path in MODULES if path.name == "__init__.py")
    assert packed == {".".join(path.relative_to(ROOT).parts) for path in packages}


STRAY = '''"""A module that does
what none may."""

# why
def late(a, b, c, d, e, f, g):
    "One line."
    from scanner.pages import webmap
    import click
    from . import near

    print(datetime.now(), random.random())
    return open("x"), a.rename(columns={})
'''


def test_the_checks_see_what_is_amiss(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "stray.py").write_text(STRAY, encoding="utf-8")
    stray = read_module(tmp_path / "job" / "stray.py", tmp_path)
    assert stray.name == "job.stray"
    assert stray.imports == {"scanner.pages.webmap", "click", ".None.near"}
    assert stray.is_at_home(("job",))
    assert not stray.is_at_home(("jo", *LIBRARY_HOMES["click"]))
    assert touches_of(stray) == [("open", 12)]
    assert [is_clock_or_chance(call) for call in stray.calls].count(True) == 2
    assert (body_lines(stray.functions[0]), arguments_of(stray.functions[0])) == (6, 7)
    assert weigh(stray) == (6, 3)


def test_no_file_name_stands_twice() -> None:
    names = sorted(
        path.stem for path in (ROOT / "scanner").rglob("*.py") if path.stem != "__init__"
    )
    assert [one for one, other in pairwise(names) if one == other] == []
