"""
How much of a file is read, whoever made it: what goes beyond is refused with a sentence.

So that no small file takes a machine: none of a few megabytes may cost 1 GB of memory or 30 seconds.
What a county of a million lots or a book of 100,000 clients holds stays below. All are judgment, no source,
but for what a spreadsheet can hold at most.
"""

from __future__ import annotations

MAX_SHEET_BYTES = 500_000_000
"""A csv, or a workbook unpacked."""
MAX_SHEETS, MAX_ROWS, MAX_COLUMNS, MAX_CELLS = 100, 1_048_576, 2_000, 10_000_000
"""Sheets of a workbook; rows of one, as many as a spreadsheet has; columns; cells of a file, blanks between others counted."""
MAX_ROW_CELLS, MAX_LOOKS, MAX_TEXTS = 16_384, 65_536, 2_000_000
"""Cells of a row and looks of a workbook, as many as a spreadsheet has; texts that its cells share."""
MAX_CELL_LETTERS = 131_072
"""Letters of a cell, as csv has it; a spreadsheet's cell holds a quarter of that."""

MAX_SETTINGS_BYTES, MAX_SETTING_LETTERS = 200_000, 10_000
"""A TOML file and a line of it: its reader's work grows with the square of a line."""

MAX_LAYER_BYTES, MAX_KML_BYTES = 2_000_000_000, 50_000_000
"""A zip of layers, unpacked; a KML file, which its reader takes whole."""
MAX_LAYERS, MAX_FEATURES, MAX_FAULTS = 200, 10_000_000, 100_000
"""Layers of a file, features of one, and faulty ones that are told one by one."""
MAX_FEATURE_LETTERS, MAX_BRACKETS = 64_000_000, 1_000_000
"""A feature of a GeoJSON file, and its points and parts: some ten times a city's longest street."""
SIMPLE_POINTS, MAX_CROSSINGS = 1_000, 500_000
"""Points of an outline that is mended however it crosses itself; crossings of a larger one."""
MAX_DEPTH = 100
"""Folders, parts and lists within each other."""
MAX_BATCH_BYTES = 200_000_000
"""A few thousand features of a GeoParquet file, unpacked: one text may stand there for all."""

MAX_RATIO, SMALL_BYTES = 200, 10_000_000
"""Zips of layers unpack to so many times their size at most, and to the small size whatever the ratio."""
MAX_SHEET_RATIO = 50
"""The same of workbooks, which hold text."""


def most_unpacked(packed_bytes: int, ratio: int, most_bytes: int) -> int:
    """Tell how much a packed file may unpack to [bytes].

    >>> most_unpacked(1_000, 50, 500_000_000), most_unpacked(1_000_000, 50, 500_000_000)
    (10000000, 50000000)
    """
    return min(most_bytes, max(SMALL_BYTES, ratio * packed_bytes))
