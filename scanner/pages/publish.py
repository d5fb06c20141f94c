"""
Write what a scan found, whole or not at all, and never over what people filled in.

The only page module that touches files: it looks at the list that lies in the folder,
has everything rendered, and only then puts the new files in place.
"""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import tempfile
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path

import pandas as pd

from scanner.errors import BookError
from scanner.pages.call_list import (
    EarlierList,
    call_rows,
    left_out_rows,
    unseen_rows,
)
from scanner.pages.call_sheet import calls_xlsx
from scanner.pages.geojson import beds_geojson
from scanner.pages.item_sheet import line_items_csv, problems_csv, rates_csv
from scanner.pages.summary import summary_json
from scanner.pages.webmap import render_map
from scanner.schema.documents import Scan
from scanner.sheets.cells import sheet_csv
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.problems import row_words
from scanner.sheets.reader import open_elsewhere, read_sheet

NO_EXTRA: Mapping[str, bytes] = {}
CALL_LISTS = ("calls.xlsx", "calls.csv")


def publish(
    scan: Scan,
    folder: Path,
    *,
    extra: Mapping[str, bytes] = NO_EXTRA,
    pending: Mapping[str, Collection[object]] | None = None,
) -> list[Path]:
    """
    Write all files of a scan into a folder.

    Parameters
    ----------
    scan
        A whole scan.
    folder
        Where the files go; made when it is not there.
    extra
        More files to write along with the others: content by name.
    pending
        By call list, the rows that are filled in and not on record; None: whatever is
        filled in counts as not on record.

    Returns
    -------
    paths
        The files written, by name.

    Raises
    ------
    BookError
        If a call list in the folder holds what nobody has recorded yet or is open in
        another program, or a file cannot be replaced. Then everything is left as it was.
    """
    for name in CALL_LISTS:
        _refuse_open(folder / name)
        _refuse_filled(folder / name, None if pending is None else pending.get(name, ()))
    contents = _render(scan, earlier=_read_earlier(folder)) | dict(extra)
    return _put_in_place(contents, folder)


def publish_page(html: str, file: Path) -> Path:
    """
    Write a page that stands alone.

    Parameters
    ----------
    html
        The page.
    file
        Where it goes; its folder is made when it is not there.

    Returns
    -------
    file
        The file written.

    Raises
    ------
    BookError
        If it cannot be written. Then the earlier one is left as it was.
    """
    return _put_in_place({file.name: html.encode()}, file.parent)[0]


def publish_files(contents: Mapping[str, bytes], folder: Path) -> list[Path]:
    """
    Write files that belong together, all or none.

    Parameters
    ----------
    contents
        Content by name.
    folder
        Where they go; made when it is not there.

    Returns
    -------
    paths
        The files written, by name.

    Raises
    ------
    BookError
        If one cannot be written. Then the earlier ones are left as they were.
    """
    return _put_in_place(contents, folder)


def _render(scan: Scan, *, earlier: EarlierList | None) -> dict[str, bytes]:
    rows, left_out = call_rows(scan, earlier=earlier), left_out_rows(scan, earlier=earlier)
    sheet = io.BytesIO()
    calls_xlsx(sheet, scan, rows, left_out, unseen_rows(scan))
    return {
        "map.html": render_map(scan).encode(),
        "calls.csv": sheet_csv(CALL_LIST, rows),
        "calls.xlsx": sheet.getvalue(),
        "candidates.geojson": b"".join(beds_geojson(scan)),
        "line_items.csv": b"".join(line_items_csv(scan)),
        "rates.csv": rates_csv(scan.rates),
        "problems.csv": problems_csv(scan),
        "summary.json": summary_json(scan),
    }


def _refuse_open(path: Path) -> None:
    """Refuse when a spreadsheet program has the list open: what is typed there is not saved yet."""
    if mark := open_elsewhere(path):
        message = (
            f"{path} is open in another program: save and close it there, record it, then scan again. Where "
            f"it is not open any more, delete {mark} beside it."
        )
        raise BookError(message)


def _refuse_filled(path: Path, pending: Collection[object] | None) -> None:
    """Refuse when somebody wrote into the list what is not on record; the message names the row."""
    if not path.exists():
        return
    cells = _read_list(path)[[*CALL_LIST.filled_in]]
    filled = [
        (
            label,
            f"has something in {', '.join(str(name) for name, cell in row.items() if cell)} that",
        )
        for label, row in zip(cells.index, cells.to_dict("records"), strict=True)
        if any(row.values())
    ]
    if pending is not None:
        filled = [(label, "has something filled in that") for label in pending]
    for label, what in filled[:1]:
        message = (
            f"{path}: {row_words(label)} {what} is not recorded yet, and a new scan would write over it. Record the list "
            f"(bed-scanner record BOOK {path}), or move it to another folder, then scan again."
        )
        raise BookError(message)


def _read_list(path: Path) -> pd.DataFrame:
    """Read a call list that lies in the folder."""
    try:
        return read_sheet(path, CALL_LIST)[0]
    except BookError as err:
        message = (
            f"{path}: this is not a call list that can be read (a column such as outcome is missing, or the file is "
            "damaged), so nobody can tell what was filled in. Move it to another folder, then scan again."
        )
        raise BookError(message) from err


def _read_earlier(folder: Path) -> EarlierList | None:
    """Read the list of the scan before; without its own summary its day is not known."""
    path = folder / "calls.csv"
    if not path.exists():
        return None
    table = _read_list(path)
    rows = dict(zip(table["client_id"], table.to_dict("records"), strict=True))
    scanned_on = ""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        scanned_on = str(json.loads((folder / "summary.json").read_bytes()).get("scanned_on", ""))
    return EarlierList(rows=rows, scanned_on=scanned_on)


def _put_in_place(contents: Mapping[str, bytes], folder: Path) -> list[Path]:
    """Write beside the old files, then swap them all."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        workplace = Path(tempfile.mkdtemp(prefix=".unfinished-", dir=folder))
        try:
            _swap_all(contents, folder, workplace)
        finally:
            shutil.rmtree(workplace, ignore_errors=True)
    except OSError as err:
        message = (
            f"{folder}: the files cannot be written ({err.strerror}: {err.filename}). Close them if they are open "
            "in another program, see that you may write there and that the disk has room, then try again. "
            "Nothing was changed."
        )
        raise BookError(message) from err
    return [folder / name for name in sorted(contents)]


def _swap_all(contents: Mapping[str, bytes], folder: Path, workplace: Path) -> None:
    for name, content in contents.items():
        (workplace / f"new-{name}").write_bytes(content)
    swapped: list[str] = []
    try:
        for name in contents:
            _swap(folder, workplace, name)
            swapped.append(name)
    except OSError:
        _swap_back(folder, workplace, swapped)
        raise


def _swap(folder: Path, workplace: Path, name: str) -> None:
    if (folder / name).exists():
        (folder / name).replace(workplace / f"old-{name}")
    try:
        (workplace / f"new-{name}").replace(folder / name)
    except OSError:
        _swap_back(folder, workplace, [name])
        raise


def _swap_back(folder: Path, workplace: Path, names: Iterable[str]) -> None:
    for name in names:
        old = workplace / f"old-{name}"
        if old.exists():
            old.replace(folder / name)
        else:
            (folder / name).unlink(missing_ok=True)
