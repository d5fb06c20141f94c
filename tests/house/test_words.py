"""What people read is American English as an office speaks it."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
READ = [
    path
    for folder in ("scanner", "shared", "maps")
    for kind in ("html", "js", "css", "md", "toml", "csv", "txt")
    for path in sorted((ROOT / folder).rglob(f"*.{kind}"))
    if path.parent.name != "quote_assets"  # a regulation is printed as it was published
] + [
    ROOT / name for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "sample_data/README.md")
]
CODE = sorted((ROOT / "scanner").rglob("*.py"))

BRITISH = re.compile(
    r"\b(labour|neighbour|colour|behaviour|favour|(milli|centi|kilo)?metres?\b|(road|street)?centre(?!d?Of)|centrel|"
    r"grey|licence|judgement|misspelt|tonnes?\b|programmes?\b|travell|modell|labelled\b|cancelled\b|"
    r"(mobil|neutral|normal|organ|recogn|summar|minim|maxim|util|author|apolog)is(e|ed|es|ing|ation)\b)\w*",
    re.IGNORECASE,
)

NOT_SAID = re.compile(
    r"lot afar|in no call|\bto mind\b|worked out at|without a lawn that is known", re.IGNORECASE
)
"""What no office of a lawn company would say."""


def sentences_of(module: Path) -> str:
    """The texts that a module holds, those that explain its code left out."""
    nodes = list(ast.walk(ast.parse(module.read_text(encoding="utf-8"))))
    # A docstring is an expression that stands alone, too
    explained = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    texts = (
        node.value
        for node in nodes
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
        and id(node) not in explained
    )  # fmt: skip
    return "\n".join(texts)


@pytest.fixture(scope="module")
def texts() -> dict[Path, str]:
    """All that people read, by file; not read at import, which every worker does."""
    told = {path: path.read_text(encoding="utf-8") for path in READ}
    return told | {path: sentences_of(path) for path in CODE}


@pytest.mark.parametrize("rule", [BRITISH, NOT_SAID], ids=["spelling", "office"])
def test_what_people_read_is_said_as_an_office_says_it(
    texts: dict[Path, str], rule: re.Pattern[str]
) -> None:
    found = {
        str(path.relative_to(ROOT)): sorted({match[0] for match in rule.finditer(text)})
        for path, text in texts.items()
        if rule.search(text)
    }
    assert not found


def test_the_check_sees_a_stray_word(tmp_path: Path) -> None:
    stray = tmp_path / "stray.py"
    stray.write_text('"""A neighbour."""\nWORDS = f"{1} lots; to mind: labour"\n', encoding="utf-8")
    text = sentences_of(stray)
    assert "neighbour" not in text
    assert [match[0] for match in BRITISH.finditer(text)] == ["labour"]
    assert NOT_SAID.search(text)
    assert not BRITISH.search("neighbor color centerline meter judgment canceled aria-labelledby")
