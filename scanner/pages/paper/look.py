"""The look of all printed pages: one palette, one set of type sizes. Lengths in points, 72 to the inch."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

INK: Final = "#2b2822"
SOFT: Final = "#625b4f"  # grey text: 6.7 to 1 on white, 5.1 on hard ground; on the house ink
TEAL: Final = "#1d5160"  # heads, and what is kept clear
RULE: Final = "#8d8473"
FAINT: Final = "#d9d0be"
TINT: Final = "#f4efe4"  # a row that stands out
HOUSE: Final = "#d3cbbf"
HARD: Final = "#e4e1dc"
DRIVE: Final = "#e9e6e2"
HARD_PALE: Final = "#f0eeea"
NEIGHBOR: Final = "#efeae3"
SQUARES: Final = "#c3cac6"
BED: Final = "#eadfc8"
PLANTED: Final = "#e3e8d4"
WHITE: Final = "#ffffff"

LETTER: Final = (612.0, 792.0)
A4: Final = (595.28, 841.89)
MARGIN: Final = 36.0
PAPERS: Final = {"letter": LETTER, "a4": A4}

LEADING: Final = 1.28
LEAST_SIZE: Final = 8.5
"""Nothing is printed smaller."""

BASE_WEIGHT: Final = "Helvetica"
BOLD_WEIGHT: Final = "Helvetica-Bold"
HEAD_WEIGHT: Final = "Times-Bold"


@dataclass(frozen=True)
class Type:
    """How words are set: size [pt], one of the three weights, color."""

    size: float
    weight: str = BASE_WEIGHT
    color: str = INK

    @property
    def leading(self) -> float:
        """From one base line to the next [pt]."""
        return self.size * LEADING

    @property
    def bold(self) -> Type:
        """The same in bold."""
        return replace(self, weight=BOLD_WEIGHT)

    @property
    def soft(self) -> Type:
        """The same in grey, for hints."""
        return replace(self, color=SOFT)

    def at(self, size: float) -> Type:
        """Set the same in another size [pt]."""
        return replace(self, size=size)


TITLE: Final = Type(19, HEAD_WEIGHT)
SECTION: Final = Type(12, HEAD_WEIGHT, TEAL)
BODY: Final = Type(10)
LIST: Final = Type(9.5)
MAP: Final = Type(9)
HINT: Final = Type(9, color=SOFT)
FOOT: Final = Type(8.5, color=SOFT)
CONTRACT: Final = Type(10.5)
TOTAL: Final = Type(11.5, BOLD_WEIGHT)
