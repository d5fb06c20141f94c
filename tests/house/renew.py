"""
Write again what is generated from the code and from a scan of the sample book.

``python tests/house/renew.py`` renews all, ``… schemas`` the files in shared/schemas,
``… readme`` the call list in README.md. Tests compare both with what stands there.
"""

from __future__ import annotations

import csv
import re
import sys
import tempfile
from datetime import date
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

SAMPLE_BOOK = ROOT / "sample_data" / "book"
SAMPLE_DAY = date(2026, 2, 16)
"""Day on which the README's sample is scanned."""

BLOCK = re.compile(r"(?s)(<!-- call-list:start -->\n).*?(<!-- call-list:end -->)")
ROW_COUNT = 5


def scan_sample(folder: Path) -> None:
    """Scan the sample book on its day and write the pages."""
    from scanner.pipeline import publish_scan, read_book, scan  # noqa: PLC0415  # schemas need none

    publish_scan(scan(read_book(SAMPLE_BOOK), today=SAMPLE_DAY), folder)


def call_list_block(folder: Path) -> str:
    """Write the first rows of a scan's calls.csv as a table for README.md."""
    with (folder / "calls.csv").open(encoding="utf-8-sig", newline="") as file:
        calls = list(csv.DictReader(file))[:ROW_COUNT]
    headings = (
        "rank",
        "client",
        "address",
        "route",
        "what to offer",
        "quick price",
        "crew-days",
        "chance",
    )
    lines = [f"| {' | '.join(headings)} |", "|---:|---|---|---|---|---:|---:|---:|"]
    lines += [f"| {' | '.join(call_cells(call))} |" for call in calls]
    return "\n".join(lines) + "\n"


def call_cells(call: dict[str, str]) -> tuple[str, ...]:
    """Pick from a row of calls.csv what the README shows."""
    low, high = (f"${float(call[f'price_{end}_usd']):,.0f}" for end in ("low", "high"))
    return (
        call["rank"], call["name"], call["address"], call["route"], call["offer"],
        f"{low} to {high}", f"{float(call['crew_days']):.1f}", f"{float(call['chance']):.0%}",
    )  # fmt: skip


def readme_with(block: str, readme: str) -> str:
    """Put the call list between its marks."""
    return BLOCK.sub(lambda marks: f"{marks[1]}{block}{marks[2]}", readme)


def renew_schemas() -> None:
    """Write shared/schemas."""
    from scanner.schema.export import schema_files  # noqa: PLC0415  # the path is set above

    folder = ROOT / "shared" / "schemas"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in schema_files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


def renew_readme() -> None:
    """Write the call list into README.md."""
    readme = ROOT / "README.md"
    with tempfile.TemporaryDirectory() as folder:
        scan_sample(Path(folder))
        text = readme_with(call_list_block(Path(folder)), readme.read_text(encoding="utf-8"))
    readme.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    wanted = sys.argv[1:] or ["schemas", "readme"]
    for part, renew in (("schemas", renew_schemas), ("readme", renew_readme)):
        if part in wanted:
            renew()
