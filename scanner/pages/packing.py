"""Spreadsheets packed so that the same content gives the same bytes, and cells that never run."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import datetime

from openpyxl import Workbook
from openpyxl.cell import Cell, MergedCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from scanner.sheets.cells import guard

ZIP_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip can hold."""


def put_text(cell: Cell | MergedCell, text: str) -> None:
    """
    Write a text into a cell, so that no spreadsheet takes it for a formula.

    Parameters
    ----------
    cell
        The cell.
    text
        Any text; blank: nothing.
    """
    plain = ILLEGAL_CHARACTERS_RE.sub(" ", text).replace("\r", " ")
    cell.value = plain or None
    if guard(text) != text:
        # Stored as text with the mark that a typed apostrophe leaves
        cell.data_type = "s"
        cell.quotePrefix = True


def pack_workbook(workbook: Workbook, *, stamp: datetime) -> bytes:
    """
    Save a workbook with fixed times.

    Parameters
    ----------
    workbook
        A workbook.
    stamp
        When it counts as made.

    Returns
    -------
    content
        The file's bytes.
    """
    saved, packed = io.BytesIO(), io.BytesIO()
    workbook.save(saved)
    stamp_text = f">{stamp:%Y-%m-%dT%H:%M:%SZ}</dcterms:".encode()
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(packed, "w") as target:
        for name in source.namelist():
            content = source.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb">[^<>]*</dcterms:", stamp_text, content)
            entry = zipfile.ZipInfo(name, ZIP_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            target.writestr(entry, content)
    return packed.getvalue()
