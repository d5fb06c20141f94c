"""The blanks of the sheet that is taken along on a visit: printed and typed under the same names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Blank:
    """One blank: words to tick or a place to write in; what it says of a lot, or else a part of the note."""

    name: str
    words: tuple[str, ...] = ()
    unit: str = ""
    question: str = ""  # of table ANSWERS
    answers: Mapping[str, str] = field(default_factory=dict)  # what a word stands for there
    may_be_several: bool = False


LENGTH, DEPTH = "length", "depth"
"""Names of what is measured, each with the letter of its bed behind it: length A."""

SLOPE_PERCENT = {"flat": "0", "some": "10", "steep": "30"}
"""What a word for a slope is taken for (our rule, no source): a designer is asked above 25 %."""

BLANKS = (
    Blank("slope", ("flat", "some", "steep"), question="slope percent", answers=SLOPE_PERCENT),
    Blank("soil", ("soft", "firm", "clay", "rocky")),
    Blank("truck", ("at the bed", "near", "far")),
    Blank("water", ("spigot near", "none")),
    Blank("gate", unit="in wide", question="gate width in"),
    Blank("heads", unit="sprinkler heads in the beds", question="heads along edge"),
    Blank("lines seen", ("gas", "electric", "water", "cable"), may_be_several=True),
    Blank("sun", ("sun", "part", "shade"), question="sun"),
    Blank("plant liked", question="plant"),
    Blank("association", ("yes", "no")),
    Blank("who decides"),
)
"""In the order of the sheet, after lengths and depths."""

NOTE = Blank("note")
"""The last of the sheet: what else was seen and said."""

HEAD = {"Day and hour": "record BOOK visit WHO --on DATE", "Visited by": "record BOOK visit WHO --by NAME"}  # fmt: skip
ENDINGS = {
    "write the quote, finish": "quote BOOK WHO --finish FINISH",
    "call back on": "record BOOK calls WHO call back --next DATE",
    "not now, because": "record BOOK calls WHO not now --note TEXT",
    "no, because": "record BOOK calls WHO no --note TEXT",
}
"""How a visit may end. These and the blanks of the head are no answers of a visit: the command that records each."""
