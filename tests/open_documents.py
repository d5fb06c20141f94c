"""Small OpenDocument spreadsheets, as OASIS OpenDocument 1.3 part 3 (Schema) writes them."""

from __future__ import annotations

import io
import zipfile
from xml.sax.saxutils import escape

SPACES = " ".join(
    f'xmlns:{prefix}="urn:oasis:names:tc:opendocument:xmlns:{prefix}:1.0"'
    for prefix in ("office", "table", "text")
)


def row(*cells: str, times: int = 1) -> str:
    """Write a row; what is no element is a cell of text."""
    made = [cell if cell.startswith("<") else told(cell) for cell in cells]
    return (
        f'<table:table-row table:number-rows-repeated="{times}">{"".join(made)}</table:table-row>'
    )


def told(shown: str = "", more: str = "") -> str:
    """Write a cell as it is shown, with more attributes where it is no text."""
    kind = more or 'office:value-type="string"'
    return f"<table:table-cell {kind}><text:p>{escape(shown)}</text:p></table:table-cell>"


def document(*rows: str, head: str = "", sheets: int = 1, after: str = "") -> bytes:
    """Write a document whose first sheet has these rows."""
    tables = f'<table:table table:name="Calls">{"".join(rows)}</table:table>'
    tables += "".join(f'<table:table table:name="s{at}"/>' for at in range(1, sheets)) + after
    content = f"{head}<office:document-content {SPACES}><office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr("content.xml", content)
    return stream.getvalue()
