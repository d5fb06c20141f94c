"""Write what a scan found, whole or not at all, and never over what people filled in."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping
from hashlib import blake2b
from pathlib import Path

import pandas as pd

from scanner.pages.call_list import EarlierList, call_rows, left_out_rows
from scanner.pages.call_sheet import calls_xlsx
from scanner.pages.geojson import beds_geojson
from scanner.pages.item_sheet import line_items_csv, problems_csv, rates_csv
from scanner.pages.publish.earlier import (
    CALL_LISTS,
    SEAL_BYTES,
    UNREADABLE,
    Kept,
    Why,
    has_cells_filled_in,
    read_earlier,
    seal_of,
)
from scanner.pages.summary import summary_json
from scanner.pages.webmap_pages import FOLDER
from scanner.schema.documents import Part, Scan
from scanner.sheets.cells import sheet_csv_pieces
from scanner.sheets.lists import CALL_LIST
from scanner.store.replacing import put_in_place

__all__ = [
    "CALL_LISTS",
    "UNREADABLE",
    "Why",
    "paper_name",
    "publish",
    "publish_files",
    "publish_page",
    "seal_of",
]

NEEDED = ("lots", "beds", "shapes", "quantities", "line_items", "prices", "offers")
"""Tables of a part that pages are made of; each is read once."""

Piece = tuple[str, bytes]
"""Name of a file, and what comes behind all that was written into it before."""


def publish(
    scan: Scan, folder: Path, *, why_kept: Why | None = None, seals: list[str] | None = None
) -> list[Path]:
    """Write all files of a scan into a folder, made when it is not there; returns them by name.

    A call list there that holds what nobody has recorded yet, or is open in another program, stays: the
    new one goes beside it, with the day of the scan in its name.

    ``why_kept``: says what of a call list is not on record; None: whatever is filled in counts as
    not on record. ``seals``: takes the seals of the new call lists. `BookError`: if a file cannot be written or replaced. Then everything is left as
    it was.
    """

    def pieces() -> Iterator[Piece]:
        # What an earlier run left in the folder is settled when the first piece is asked for
        yield from _sealed(
            _render(scan, earlier=read_earlier(folder)), [] if seals is None else seals
        )

    kept = Kept(why_kept or has_cells_filled_in)
    return put_in_place(
        pieces(), folder, stale=[f"{FOLDER}/*.html"], keep=kept, mark=scan.today.isoformat()
    )


def publish_page(html: str, file: Path) -> Path:
    """Write a page that stands alone; `BookError` where it cannot be, the earlier one is left then."""
    return publish_files({file.name: html.encode()}, file.parent)[0]


def paper_name(paper: str, client_id: str) -> str:
    """Name the file of a client's paper; an id may hold what no file's name may, or would lead elsewhere.

    >>> paper_name("visit", "C0057"), paper_name("visit", "../../x y")
    ('visit-C0057.pdf', 'visit-.._.._x_y.pdf')
    """
    name = re.sub(r"[^\w.-]", "_", client_id)[:100]
    return f"{paper}-{name}.pdf"


def publish_files(contents: Mapping[str, bytes], folder: Path, *, mark: str = "new") -> list[Path]:
    """Write files that belong together, all or none; `BookError` where one cannot be written.

    A list that somebody wrote into stays, and the new one goes beside it with ``mark`` in its name.
    """
    return put_in_place(contents.items(), folder, keep=Kept(has_cells_filled_in), mark=mark)


def _render(scan: Scan, *, earlier: EarlierList | None) -> Iterator[Piece]:
    """Make all files, piece by piece; the parts of the scan are read once for all that needs them."""
    # Of all that is published a scan alone draws maps: papers need not wait for what draws them
    from scanner.pages.webmap import map_pages  # noqa: PLC0415

    yield from _lists(scan, earlier)
    yield "rates.csv", rates_csv(scan.rates)
    yield "problems.csv", problems_csv(scan)
    yield "summary.json", summary_json(scan)
    read = dict[str, pd.DataFrame]()

    def read_next() -> Iterator[Part]:
        for part in scan.parts:
            read.update({name: part[name] for name in NEEDED})
            yield read

    # In step: the first reads a part, the others take what it has read
    for of_map, beds, items in zip(
        map_pages(scan, read_next()), beds_geojson(scan, (read for _ in scan.parts)),
        line_items_csv(scan, (read for _ in scan.parts)), strict=True,
    ):  # fmt: skip
        yield from of_map
        yield "candidates.geojson", beds
        yield "line_items.csv", items


def _sealed(pieces: Iterator[Piece], seals: list[str]) -> Iterator[Piece]:
    """Hand pieces on and seal the call lists among them."""
    lists = {name: blake2b(digest_size=SEAL_BYTES) for name in CALL_LISTS}
    for name, piece in pieces:
        if name in lists:
            lists[name].update(piece)
        yield name, piece
    seals += [seal.hexdigest() for seal in lists.values()]


def _lists(scan: Scan, earlier: EarlierList | None) -> Iterator[Piece]:
    rows, left_out = call_rows(scan, earlier=earlier), left_out_rows(scan, earlier=earlier)
    sheet = io.BytesIO()
    calls_xlsx(sheet, scan, rows, left_out)
    yield "calls.xlsx", sheet.getvalue()
    yield from (("calls.csv", piece) for piece in sheet_csv_pieces(CALL_LIST, rows))
