"""
Street addresses brought to one form, so that equal ones can be told.

USPS Publication 28 lays the form down (suffixes, directionals, units); the library
that follows it reads an address word by word and guesses where it must. Here nothing
may be guessed: an address that it reads doubtfully has no key, and so meets no lot.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from scanner.book.county.address_words import (
    DIRECTIONS,
    STATES,
    SUFFIXES,
    join_numbers,
    parse_line,
    short_names,
    tidy_words,
)

_ZIP = re.compile(r"[ ,]+(\d{5})(-?\d{4})?$")
_COUNTRY = re.compile(r"[ ,]+(?:USA|UNITED STATES)$")
_STATE = re.compile(rf" ({'|'.join(sorted(STATES, key=lambda name: (-len(name), name)))})$")
_NUMBER = re.compile(r"^(\d+)(?:-(\d+))?([A-Z])?(?: (\d/\d))?$")
_LINE = re.compile(
    r"^((?:\d+(?:-\d+)?[A-Z]?(?: \d/\d)?)|(?:[NSEW]\d+[NSEW]\d+))((?:,\d+[A-Z]?)*) (.+)$"
)
_UNIT_WORD = re.compile(
    r"^(?:APARTMENT|APT|UNIT|SUITE|STE|LOT|BUILDING|BLDG|FLOOR|FL|ROOM|RM|SPACE|SPC|TRAILER|TRLR|#)\b|^#|^REAR$|^FRONT$"
)
_PLAIN_UNITS = ("APT", "UNIT", "#")
"""Words for a unit that say the same; a suite or a trailer lot is another thing."""

_DIRECTIONS = ("N", "S", "E", "W", "NE", "NW", "SE", "SW")
_DOUBTFUL = frozenset(
    {*_DIRECTIONS, *SUFFIXES, *(name for name in STATES if len(name) > len("NE"))}
)
"""What may be a state and may be part of the street: NE, CT, Washington."""

_ENDINGS = frozenset(SUFFIXES.values()) - set(_DIRECTIONS)
_MOST_NUMBERS = 50
"""A range of more house numbers than this is taken for one number with a hyphen in it."""


@dataclass(frozen=True)
class Address:
    """An address in its one form."""

    numbers: tuple[str, ...]  # house numbers that it holds; the first is the one written first
    written: str  # the number as written: ``22-24``
    street: str  # directionals, name and suffix in capitals, abbreviated
    unit: str  # unit; blank where there is none
    town: str  # where given, else blank
    zip_code: str

    def agrees(self, other: Address) -> bool:
        """Tell whether town and ZIP code, where both are given, contradict nothing."""
        town = not self.town or not other.town or self.town == other.town
        code = not self.zip_code or not other.zip_code or self.zip_code == other.zip_code
        return town and code


def read_address(text: str, *, towns: Iterable[str] = ()) -> Address | None:
    """Bring an address to its one form; None where it has no house number, or cannot be read without guessing.

    >>> read_address("215 Fifth Avenue, Quillbrook, NE 68847-1234").street
    '5TH AVE'
    >>> read_address("22-24 n. Harrow street").numbers
    ('22', '24')
    >>> read_address("12 and 14 Elm St").numbers, read_address("10 1/2 Elm St #B").unit
    (('12', '14'), 'B')
    >>> read_address("PO Box 12") is None, read_address("") is None
    (True, True)
    """
    line, town, zip_code = _split_tail(tidy_words(text), towns)
    line = join_numbers(line)
    found = _LINE.match(line)
    if not found:
        return None
    number, more, rest = found.groups()
    parsed = parse_line(number.split(" ")[0].split("-")[0], rest, is_whole=bool(town))
    if parsed is None or set(number) <= {"0"}:
        return None
    street, unit, tail = parsed
    if tail and (town or not _is_sure(street, tail)):
        return None
    numbers = tuple(dict.fromkeys([*_hold(number), *more.split(",")[1:]]))
    return Address(
        numbers, number + more, street, _plain_unit(unit), short_names(town or tail), zip_code
    )


def find_towns(texts: Iterable[str]) -> frozenset[str]:
    """Collect the towns that stand behind a comma, to know them where there is none.

    >>> sorted(find_towns(["1 Elm St, West Point, NE 68788", "2 Elm St, Apt 4", "3 Elm St"]))
    ['WEST POINT']
    """
    tails = (_split_tail(tidy_words(text), ())[1] for text in texts)
    return frozenset(tail for tail in tails if tail and not any(c.isdigit() for c in tail))


def _split_tail(text: str, towns: Iterable[str]) -> tuple[str, str, str]:
    """Take ZIP code, state and town off the end; a line that cannot be told apart is blank."""
    text = _COUNTRY.sub("", text)
    zip_code = ""
    if found := _ZIP.search(text):
        zip_code, text = found[1], text[: found.start()]
    first, *others = [part.strip() for part in text.split(",")]
    while first and others and (first.isdigit() or _UNIT_WORD.match(others[0])):
        # 12, 14 Elm St: the comma parts numbers; Elm St, Apt 4: it parts the unit
        joint = "," if first.isdigit() else " "
        first, others = f"{first}{joint}{others[0]}", others[1:]
    if others:
        names = [name for name in (*others[:-1], _drop_state(others[-1])) if name]
        return (first, names[0] if names else "", zip_code) if len(names) <= 1 else ("", "", "")
    if (found := _STATE.search(first)) and found[1] not in _DOUBTFUL:
        first = first[: found.start()] if _has_street(first[: found.start()]) else first
    for town in sorted(towns, key=lambda name: (-len(name), name)):
        for line in (first, _STATE.sub("", first)):
            # a street may bear the town's name: what stays must still be a street
            rest = line.removesuffix(f" {town}")
            if rest != line and _has_street(rest):
                return rest, town, zip_code
    return first, "", zip_code


def _drop_state(part: str) -> str:
    """Take the state off a part that stands behind a comma: Quillbrook NE, or NE alone."""
    return "" if part in STATES else _STATE.sub("", part)


def _has_street(line: str) -> bool:
    """Tell whether a line has a street's suffix behind number and name."""
    return any(word in SUFFIXES for word in line.split()[2:])


def _hold(number: str) -> list[str]:
    """List the numbers that 22-24 holds; a number that is no range holds itself."""
    found = _NUMBER.match(number)
    if not found or not found[2] or found[3] or found[4] or found[2].startswith("0"):
        return [number]
    low, high = int(found[1]), int(found[2])
    count = (high - low) // 2 + 1
    if high <= low or (high - low) % 2 or count > _MOST_NUMBERS:
        return [number]
    return [str(value) for value in range(low, high + 1, 2)]


def _is_sure(street: str, tail: str) -> bool:
    """Tell whether a line ends where a street does, so that what follows is the town."""
    *name, last = street.split()
    # "Elm St W Point": W may be the street's direction or the town's; "North St James Ct" is no North St
    is_direction = set(name) <= {*_DIRECTIONS, *DIRECTIONS}
    return last in _ENDINGS and not is_direction and tail.rsplit(maxsplit=1)[-1] not in SUFFIXES


def _plain_unit(unit: str) -> str:
    word, _, name = unit.partition(" ")
    if not name:
        return unit.lstrip("#")
    return name if word in _PLAIN_UNITS else unit
