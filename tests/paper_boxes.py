"""Which words of a printed document stand on one another or in the margins."""

from __future__ import annotations

from itertools import combinations

from scanner.pages.paper.look import MARGIN
from scanner.pages.paper.sheet import Box, Paper

SLACK = 0.3
"""Boxes may touch by so much [pt]."""


def clashes(paper: Paper) -> list[tuple[str, str]]:
    """Pairs of texts that overlap, and texts that reach into the margin."""
    pages = [[box for box in paper.boxes if box.page == page] for page in range(1, paper.page + 1)]
    pairs = [(a.text, b.text) for page in pages for a, b in combinations(page, 2) if overlap(a, b)]
    return pairs + [(box.text, "margin") for box in paper.boxes if is_off(box, paper)]


def overlap(a: Box, b: Box) -> bool:
    aside = min(a.right, b.right) - max(a.left, b.left)
    above = min(a.top, b.top) - max(a.bottom, b.bottom)
    return a.page == b.page and aside > SLACK and above > SLACK


def is_off(box: Box, paper: Paper) -> bool:
    least = MARGIN - SLACK
    return (
        box.left < least or box.bottom < least
        or box.right > paper.width - least or box.top > paper.height - least
    )  # fmt: skip
