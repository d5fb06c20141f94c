"""
Write again what is generated from the code and from a scan of the sample book.

``python tests/house/renew.py`` renews all, ``… schemas`` the files in shared/schemas,
``… readme`` the call list in README.md, ``… curve`` the picture of the guide page on prices. Tests
compare them with what stands there.
"""

from __future__ import annotations

import csv
import re
import sys
import tempfile
from collections.abc import Sequence
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


CURVE = ROOT / "shared" / "guide" / "price-curve.svg"
YEARS = (0.25, 0.5, 1.0, 2.0, 4.0)
"""Prices that the guide's table names, in years of mowing."""


def buyers(years: Sequence[float]) -> list[float]:
    """Tell what share of those visited buys at each price, before any record."""
    import pandas as pd  # noqa: PLC0415  # schemas need none of these

    from scanner.book.settings import read_rates  # noqa: PLC0415
    from scanner.calls.chance import Stages  # noqa: PLC0415
    from scanner.calls.log import NO_SEASON  # noqa: PLC0415
    from scanner.calls.trials import list_trials  # noqa: PLC0415

    trials = list_trials(NO_SEASON.calls, today=SAMPLE_DAY)
    stages = Stages.learn(trials, pd.Series(dtype=float), rates=read_rates(None)[0])
    return [float(share) for share in stages.mean_buyers([*years])]


def curve_svg() -> str:
    """Draw the share that buys over the price in years of mowing."""

    def at(years: float, share: float) -> tuple[float, float]:
        return round(60 + 135 * years, 1), round(270 - 390 * share, 1)

    steps = [step / 20 for step in range(81)]
    line = " ".join(f"{x},{y}" for x, y in map(at, steps, buyers(steps)))
    shares = [(share, *at(0, share / 100)) for share in range(0, 61, 20)]
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 330" font-family="sans-serif" font-size="14">',
        "<title>Of those visited, how many buy at a price</title>",
        '<rect width="640" height="330" fill="#ffffff"/>',
        *(f'<path d="M{x},{y}H600" stroke="#949494" stroke-width="0.7"/><text x="{x - 8}" y="{y + 5}" '
          f'text-anchor="end">{share} %</text>' for share, x, y in shares),
        *(f'<text x="{at(year, 0)[0]}" y="290" text-anchor="middle">{year}</text>' for year in range(5)),
        '<text x="330" y="318" text-anchor="middle">price, in years of what the client pays for mowing</text>',
        '<text x="60" y="22">of 100 who are visited buy</text>',
        f'<polyline points="{line}" fill="none" stroke="#0072B2" stroke-width="3"/>',
        *(f'<circle cx="{x}" cy="{y}" r="5" fill="#0072B2"/><text x="{x + 9}" y="{y - 7}">{share:.0%}</text>'
          for share in buyers(YEARS) for x, y in [at(YEARS[buyers(YEARS).index(share)], share)]),
        "</svg>",
    ]  # fmt: skip
    return "\n".join(parts) + "\n"


def renew_curve() -> None:
    """Draw the curve of the guide page on prices and chances."""
    CURVE.write_text(curve_svg(), encoding="utf-8", newline="\n")


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
    every = {"schemas": renew_schemas, "readme": renew_readme, "curve": renew_curve}
    wanted = sys.argv[1:] or [*every]
    for part, renew in every.items():
        if part in wanted:
            renew()
