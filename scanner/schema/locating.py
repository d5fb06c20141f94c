"""The locating law by state: how long to wait before digging, and how long a ticket holds."""

from __future__ import annotations

from typing import NamedTuple

LOCATING = "locating service"


class LocatingLaw(NamedTuple):
    """What a state asks before anyone digs."""

    notice: str  # shortest notice, in words
    full_days: int  # full working days between the call and the first day of digging
    life_days: int = 0  # days that a ticket holds; 0: not known
    # is_working, from_start: whether these are working days, and count from the first day of
    # digging; else from the call, which is the earlier of the two where a law can be read both ways
    is_working: bool = False
    from_start: bool = False


_TWO, _THREE = ("2 working days", 2), ("3 working days", 3)
_HOURS_48 = ("48 hours, weekends and holidays not counted,", 2)
_HOURS_72 = ("72 hours, weekends and holidays not counted,", 3)

LAWS = {
    "AL": LocatingLaw(*_TWO, 20, is_working=True, from_start=True),
    "CA": LocatingLaw(*_TWO, 28),
    "CO": LocatingLaw(*_TWO, 30, from_start=True),
    "FL": LocatingLaw(*_TWO, 30),
    "GA": LocatingLaw(*_TWO, 21),
    "IL": LocatingLaw(*_TWO),
    "IN": LocatingLaw(*_TWO),
    "KS": LocatingLaw(*_TWO, 15, from_start=True),
    "MI": LocatingLaw(*_HOURS_72, 21),
    "MN": LocatingLaw(*_HOURS_48, 14),
    "NC": LocatingLaw(*_THREE, 15, is_working=True),
    "NE": LocatingLaw(*_TWO, 17, from_start=True),
    "NJ": LocatingLaw(*_THREE, 45, is_working=True),
    "NY": LocatingLaw(*_TWO),
    "OH": LocatingLaw(*_HOURS_48),
    "PA": LocatingLaw(*_THREE),
    "TX": LocatingLaw(*_HOURS_48, 14, is_working=True),
    "VA": LocatingLaw(*_THREE, 15, is_working=True),
    "WA": LocatingLaw(*_TWO, 45),
}
"""
Notice: Ala. Code 37-15; Cal. Gov. Code 4216.2; C.R.S. 9-1.5-103; F.S. 556.105; O.C.G.A. 25-9-6; 220 ILCS 50/4;
IC 8-1-26-16; K.S.A. 66-1804; Neb. Rev. Stat. 76-2321; 16 NYCRR 753; RCW 19.122.030; NC 87-122; N.J.A.C. 14:2-3.1;
73 P.S. 176; Va. Code 56-265.17; Minn. Stat. 216D.04; ORC 3781.28; Tex. Util. Code 251.151; MCL 460.723. The day of
the call never counts. Life: the same, al811.com/life-of-ticket and my.sunshine811.com; NE 17 calendar days after the
start (ne1call.com/ticket-life), NC 15 full working days (nc811.org/ticket-types); of MI, MN and TX from memory.
Not known: IL (28 days with the day of the call before P.A. 103-614, illinois1call.com), IN (changed in 2025), NY (holds
while the marks are kept, if work begins within 10 working days, digsafelyny.com), OH, PA. There a page says: ask 811.
"""

MORE_HOLIDAYS = ("FL", "GA")
"""States that name the Friday after Thanksgiving and Christmas Eve too: F.S. 556.102(1); O.C.G.A. 25-9-3(3)."""
