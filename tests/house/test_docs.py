"""What README, DEVELOPERS and CHANGELOG say is so."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

import click
import pytest
from packaging.requirements import Requirement

import scanner
from scanner.cli.group import COMMANDS
from scanner.schema.tables import SKIP_REASONS
from tests.cli.desk import command_of
from tests.house import renew

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = {
    page.stem: page.read_text(encoding="utf-8") for page in (ROOT / "shared" / "guide").glob("*.md")
}
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CI_RUN = (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_readme_has_every_command_and_no_other() -> None:
    rows = re.findall(r"^\| `bed-scanner ([a-z]+)(?: BOOK)?` \|", README, re.MULTILINE)
    assert rows == list(COMMANDS)
    told = set(re.findall(r"bed-scanner ([a-z]+)\b", "\n".join([README, *GUIDE.values()])))
    assert told <= {*COMMANDS, "and"}


def test_readme_is_read_in_five_minutes() -> None:
    assert 8_000 <= len(README.encode()) <= 10_240


def test_readme_leads_to_every_page_of_the_guide() -> None:
    assert set(re.findall(r"\]\(shared/guide/([a-z-]+)\.md\)", README)) == {*GUIDE}


def test_guide_has_every_option_and_no_other() -> None:
    told = set(re.findall(r"^\| `(--[a-z-]+)", GUIDE["commands"], re.MULTILINE))
    ours = {opt for name in COMMANDS for p in command_of(name).params for opt in p.opts}
    assert told == {opt for opt in ours if opt.startswith("--")} | {"--help"}


def takers_of(option: str) -> list[str]:
    """List the commands that take an option; of a group's words all must, else they are named one by one."""
    takers = []
    for name in COMMANDS:
        command = command_of(name)
        context = click.Context(command)
        names = command.list_commands(context) if isinstance(command, click.Group) else []
        words = [
            f"{name} … {word}" for word in names
            if any(option in param.opts for param in command.get_command(context, word).params)
        ]  # fmt: skip
        is_own = any(option in param.opts for param in command.params)
        takers += [name] if is_own or (words and len(words) == len(names)) else words
    return takers


def test_guide_says_which_command_takes_which_option() -> None:
    rows = re.findall(r"^\| `(--[a-z-]+)[^`]*` \| (`[^|]+) \|", GUIDE["commands"], re.MULTILINE)
    assert len(rows) > 40
    for option, told in rows:
        # what the words of record take besides is told where they are
        ours = [name for name in takers_of(option) if "…" not in name or option == "--out"]
        assert re.findall(r"`([^`]+)`", told) == ours, option


def test_readme_opens_with_two_commands_of_one_line() -> None:
    lines = [line for line in README.splitlines() if line.startswith("python3 -m venv .venv && ")]
    assert len(lines) == 2
    assert lines[0].endswith(" && .venv/bin/bed-scanner demo")
    assert lines[1].endswith(" && .venv/bin/python -m pytest -n 2")


def test_windows_forms_are_the_same_commands() -> None:
    shell = [line for line in README.splitlines() if line.startswith("python3 -m venv .venv && ")]
    windows = [line for line in README.splitlines() if line.startswith("py -m venv .venv && ")]
    turned = [
        line.replace("python3 ", "py ").replace(".venv/bin/", ".venv\\Scripts\\") for line in shell
    ]
    assert windows == turned


def test_ci_runs_the_readmes_own_test_command() -> None:
    pattern = re.search(r"grep -m 1 -E '([^']+)' README.md", CI_RUN)
    assert pattern
    found = [line for line in README.splitlines() if re.search(pattern[1], line)]
    assert len(found) == 1
    assert found[0].endswith("pytest -n 2")


def test_guide_explains_every_skip_reason() -> None:
    for reason in SKIP_REASONS:
        assert reason in GUIDE["words"]


@pytest.mark.parametrize(
    "words",
    [
        "811",
        "right-of-way",
        "permit",
        "Local codes",
        "sight lines",
        "siding",
        "roots",
        "not a quote",
    ],
)
def test_readme_has_every_caution(words: str) -> None:
    assert words in README[README.index("## Cautions") :]


def test_links_lead_somewhere() -> None:
    guide = [f"shared/guide/{name}.md" for name in GUIDE]
    missing = [
        f"{name}: {link}"
        for name in ("README.md", "DEVELOPERS.md", "maps/README.md", *guide)
        for link in _links(ROOT / name)
        if not (ROOT / name).parent.joinpath(link).exists()
    ]
    assert not missing


def _links(page: Path) -> list[str]:
    links = re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8"))
    return [link for link in links if "://" not in link]


def test_every_rule_stands_where_developers_are_told() -> None:
    table = DEVELOPERS[DEVELOPERS.index("## Where each rule stands") :].split("\n## ")[0]
    rows = [line.split("|")[2:4] for line in table.splitlines() if line.count("`") >= 4 and line[0] == "|"]  # fmt: skip
    assert len(rows) > 20
    for modules, names in rows:
        paths = [ROOT / "scanner" / module for module in re.findall(r"`([^`]+)`", modules)]
        source = "\n".join(path.read_text(encoding="utf-8") for path in paths)
        for name in re.findall(r"`([^`]+)`", names):
            assert re.search(rf"^(?:[A-Z0-9_]+, )*{name}\b.* = ", source, re.MULTILINE), name


def test_every_library_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    lines = [*project["dependencies"], *extras["test"], *extras["dev"]]
    names = {re.split(r"[><=~!\[ ;]", line)[0] for line in lines} - {"bed-scanner"}
    section = DEVELOPERS[DEVELOPERS.index("## Libraries") : DEVELOPERS.index("## Decisions")]
    assert names == {name for name in names if re.search(rf"[ ,]{re.escape(name)}[ ,]", section)}


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def required(lines: list[str]) -> set[str]:
    """Names of what is needed here and now, extras left out."""
    wanted = map(Requirement, lines)
    return {
        plain(one.name) for one in wanted if not one.marker or one.marker.evaluate({"extra": ""})
    }


def brought_along(names: set[str]) -> set[str]:
    """All that libraries need, and what that needs."""
    found, coming = set[str](), {*names}
    while coming:
        name = coming.pop()
        found.add(name)
        coming |= required(metadata.requires(name) or []) - found
    return found


LICENSE_WORDS = {"MIT": r"\bMIT\b", "BSD": r"\bBSD", "Apache": "Apache", "MPL": r"\bMPL|Mozilla", "LGPL": "LGPL|Lesser",
                 "PSF": r"\bPSF|Python Software", "OFL": r"\bOFL"}  # fmt: skip


def is_installed(name: str) -> bool:
    return any(metadata.Distribution.discover(name=name))


def test_every_library_has_its_license() -> None:
    """Each stands in one row, under a license that the package itself states, where it states any."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    own = required(project["dependencies"])
    tools = required([*extras["test"], *extras["dev"]]) - {"bed-scanner"}
    section = DEVELOPERS[DEVELOPERS.index("| license |") : DEVELOPERS.index("## Decisions")]
    rows = [
        [cell.strip() for cell in line.split("|")[1:-1]]
        for line in section.splitlines()[2:]
        if line.startswith("|")
    ]
    listed = [
        {plain(name) for cells in rows for name in cells[place].split(", ") if name}
        for place in (1, 2, 3)
    ]
    assert listed == [own, brought_along(own) - own, tools]
    for license_name, *cells in rows:
        for name in (name for cell in cells for name in cell.split(", ") if name):
            if name in tools and not is_installed(name):
                continue  # the README's test command installs no tools of development
            told = metadata.metadata(name)
            words = " ".join([told.get("License-Expression") or "", (told.get("License") or "")[:200],
                              *(line for line in told.get_all("Classifier") or [] if line.startswith("License"))])  # fmt: skip
            stated = {
                family for family, pattern in LICENSE_WORDS.items() if re.search(pattern, words)
            }
            assert (
                not stated
                or {family for family in LICENSE_WORDS if family in license_name} & stated
            ), (name, words)


def test_every_library_has_bounds() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for line in [*project["dependencies"], *project["optional-dependencies"]["test"]]:
        assert re.search(r">=[\d.]+,<[\d.]+$", line), line


def test_changelog_begins_with_this_version() -> None:
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    newest = re.search(r"^## (\d+\.\d+\.\d+)", changelog, re.MULTILINE)
    assert newest
    assert newest[1] == scanner.__version__


def test_curve_of_the_guide_is_that_of_the_code() -> None:
    assert renew.CURVE.read_text(encoding="utf-8") == renew.curve_svg()
    guide = (ROOT / "shared" / "guide" / "prices.md").read_text(encoding="utf-8")
    shares = " | ".join(f"{100 * share:.0f}" for share in renew.buyers(renew.YEARS))
    assert f"| of 100 who are visited buy, before any record | {shares} |" in guide
    # 1 - 0.35 is to 1 - 0.45 as 65 to 55: a price at 35 % is 55/65 of it, 15 % less
    assert "15 % lower" in guide
