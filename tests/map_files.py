"""The pages of the map as files, put together as they are written."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from typing import Any

from scanner.pages.webmap import map_pages
from scanner.schema.documents import Scan


def map_files(scan: Scan) -> dict[str, str]:
    """Every page by name."""
    files = defaultdict[str, bytes](bytes)
    for step in map_pages(scan, scan.parts):
        for name, piece in step:
            files[name] += piece
    return {name: content.decode() for name, content in files.items()}


def map_html(scan: Scan) -> str:
    """The one page of a map that has one."""
    [html] = map_files(scan).values()
    return html


def data_of(html: str) -> dict[str, Any]:
    """What the page's script reads."""
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.S)
    assert found
    return json.loads(found[1])
