"""Write what a scan found."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from contextlib import suppress
from hashlib import blake2b
from pathlib import Path
from typing import Any

import pandas as pd

from scanner.pages.call_list import EarlierList, call_rows, left_out_rows
from scanner.pages.call_sheet import calls_xlsx
from scanner.pages.geojson import beds_geojson
from scanner.pages.item_sheet import line_items_csv, problems_csv, rates_csv
from scanner.pages.publish.earlier import (
    CALL_LISTS,
    RECORD,
    Kept,
    Why,
    find_standing,
    has_cells_filled_in,
    print_scan,
    read_earlier,
)
from scanner.pages.summary import summary_json
from scanner.pages.webmap_pages import FOLDER
from scanner.schema.documents import Part, Scan
from scanner.sheets.cells import sheet_csv_pieces
from scanner.sheets.lists import CALL_LIST
from scanner.store.folder import Store
from scanner.store.prints import SEAL_BYTES
from scanner.store.private import write_anew
from scanner.store.replacing import is_cut_off, put_in_place

NEEDED = ("lots", "beds", "shapes", "quantities", "line_items", "prices", "offers")
"""Tables of a part that pages are made of; each is read once."""

Piece = tuple[str, bytes]
"""Name of a file, and what comes behind all that was written into it before."""


def publish(
    scan: Scan, folder: Path, *,
    why_kept: Why | None = None, seals: list[str] | None = None, store: Store | None = None,
) -> list[Path]:  # fmt: skip
    """Write all files of a scan into a folder, made when it is not there; returns them by name.

    A call list there that holds what nobody has recorded yet, or is open in another program, stays: the
    new one goes beside it, with the day of the scan in its name.

    ``why_kept``: says what of a call list is not on record; None: whatever is filled in counts as
    not on record. ``seals``: takes the seals of the new call lists. ``store``: where the scan worked; files that
    stand there made from the very same are left. `BookError`: if a file cannot be written or replaced. Then everything is left as
    it was.
    """
    kept, made = Kept(why_kept or has_cells_filled_in), ""
    standing, digests = dict[str, str](), dict[str, Any]()
    # Beside a run that was cut off, or a list that somebody wrote into, nothing is taken to stand
    if store and not is_cut_off(folder) and not any(kept(folder / name) for name in CALL_LISTS):
        parts = [path for name in NEEDED for path in sorted(store.folder.glob(f"*/{name}.parquet"))]
        made = print_scan(scan, parts, read_earlier(folder))
        standing = find_standing(made, folder, store.kept[0]) if store.kept else {}
    files = [folder / name for name in sorted(standing)] or put_in_place(
        _sealed(_render(scan, folder), digests), folder,
        stale=[f"{FOLDER}/*.html"], keep=kept, mark=scan.today.isoformat(),
    )  # fmt: skip
    standing = standing or {name: digest.hexdigest() for name, digest in digests.items()}
    if store and made and files == [folder / name for name in sorted(standing)]:
        with suppress(OSError):  # the files stand; only the next scan makes them once more
            write_anew(store.folder / RECORD, json.dumps([made, standing]).encode())
    if seals is not None:
        seals += [standing[name] for name in CALL_LISTS]
    return files


def _render(scan: Scan, folder: Path) -> Iterator[Piece]:
    """Make all files, piece by piece; the parts of the scan are read once for all that needs them."""
    # Of all that is published a scan alone draws maps: papers need not wait for what draws them
    from scanner.pages.webmap import map_pages  # noqa: PLC0415

    # What an earlier run left in the folder is settled when the first piece is asked for
    yield from _lists(scan, read_earlier(folder))
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


def _sealed(pieces: Iterator[Piece], digests: dict[str, Any]) -> Iterator[Piece]:
    """Hand pieces on, and seal the files that they make."""
    for name, piece in pieces:
        digests.setdefault(name, blake2b(digest_size=SEAL_BYTES)).update(piece)
        yield name, piece


def _lists(scan: Scan, earlier: EarlierList | None) -> Iterator[Piece]:
    rows, left_out = call_rows(scan, earlier=earlier), left_out_rows(scan, earlier=earlier)
    sheet = io.BytesIO()
    calls_xlsx(sheet, scan, rows, left_out)
    yield "calls.xlsx", sheet.getvalue()
    yield from (("calls.csv", piece) for piece in sheet_csv_pieces(CALL_LIST, rows))
