"""The words of a paper, read back line by line: PDFium takes a fiftieth of the time that finding every letter's place takes."""

from __future__ import annotations

import pypdfium2

LINE_PT = 3.0
"""Pieces whose middles lie so near each other stand on one line."""


def read_pages(paper: bytes, count: int | None = None) -> list[str]:
    """Read each page, or so many, from the top down and each line from the left."""
    with pypdfium2.PdfDocument(paper) as document:
        return [_read(document[at].get_textpage()) for at in range(len(document))[:count]]


def _read(page: pypdfium2.PdfTextPage) -> str:
    boxes = [page.get_rect(at) for at in range(page.count_rects())]
    lines, middle = list[list[tuple[float, ...]]](), 0.0
    for box in sorted(boxes, key=lambda box: -(box[1] + box[3])):
        if not lines or middle - (box[1] + box[3]) / 2 > LINE_PT:
            lines.append([])
            middle = (box[1] + box[3]) / 2
        lines[-1].append(box)
    return "\n".join(_line(page, sorted(line)) for line in lines)


def _line(page: pypdfium2.PdfTextPage, boxes: list[tuple[float, ...]]) -> str:
    words = (page.get_text_bounded(*box).replace("\xa0", " ").strip() for box in boxes)
    return " ".join(word for word in words if word)
