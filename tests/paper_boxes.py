"""Which words of a printed document stand on one another or in the margins."""

from __future__ import annotations

import numpy as np

from scanner.pages.paper.look import MARGIN
from scanner.pages.paper.sheet import Box, Paper

SLACK = 0.3
"""Boxes may touch by so much [pt]."""


def clashes(paper: Paper) -> list[tuple[str, str]]:
    """Pairs of texts that overlap, and texts that reach into the margin."""
    pages = [[box for box in paper.boxes if box.page == page] for page in range(1, paper.page + 1)]
    pairs = [(page[a].text, page[b].text) for page in pages for a, b in overlapping(page)]
    return pairs + [(box.text, "margin") for box in paper.boxes if is_off(box, paper)]


def overlapping(boxes: list[Box]) -> np.ndarray:
    """Which two boxes of a page stand on one another: all pairs at once, for a sheet has thousands."""
    sides = [(box.left, box.right, box.bottom, box.top) for box in boxes]
    left, right, bottom, top = np.array(sides, dtype="float64").reshape(-1, 4).T
    aside = np.minimum.outer(right, right) - np.maximum.outer(left, left)
    above = np.minimum.outer(top, top) - np.maximum.outer(bottom, bottom)
    return np.argwhere(np.triu((aside > SLACK) & (above > SLACK), k=1))


def is_off(box: Box, paper: Paper) -> bool:
    least = MARGIN - SLACK
    return (
        box.left < least or box.bottom < least
        or box.right > paper.width - least or box.top > paper.height - least
    )  # fmt: skip
