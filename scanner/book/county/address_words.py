"""Words of an address: how people write them, and how the library's reading is checked."""

from __future__ import annotations

import re

from scourgify.address_constants import STATE_ABBREVIATIONS, STREET_TYPE_ABBREVIATIONS
from scourgify.exceptions import AddressNormalizationError
from scourgify.normalize import normalize_addr_str

SUFFIXES: dict[str, str] = dict(STREET_TYPE_ABBREVIATIONS)
"""Street suffixes as people write them and as USPS abbreviates them."""

STATES = frozenset(STATE_ABBREVIATIONS) | frozenset(STATE_ABBREVIATIONS.values())

_ONES = ("FIRST", "SECOND", "THIRD", "FOURTH", "FIFTH", "SIXTH", "SEVENTH", "EIGHTH", "NINTH")
_TEENS = (
    "TENTH", "ELEVENTH", "TWELFTH", "THIRTEENTH", "FOURTEENTH", "FIFTEENTH", "SIXTEENTH",
    "SEVENTEENTH", "EIGHTEENTH", "NINETEENTH",
)  # fmt: skip
_TENS = ("TWENT", "THIRT", "FORT", "FIFT", "SIXT", "SEVENT", "EIGHT", "NINET")
_ORDINALS = {
    word: at for at, word in enumerate([*_ONES, *_TEENS], start=1)
} | {f"{ten}IETH": 10 * at for at, ten in enumerate(_TENS, start=2)} | {
    f"{ten}Y-{one}": 10 * at + unit
    for at, ten in enumerate(_TENS, start=2) for unit, one in enumerate(_ONES, start=1)
}  # fmt: skip
_ENDINGS = {1: "ST", 2: "ND", 3: "RD"}
_NAMES = {"SAINT": "ST", "MOUNT": "MT", "FORT": "FT"}
DIRECTIONS = {
    "NORTH": "N", "SOUTH": "S", "EAST": "E", "WEST": "W",
    "NORTHEAST": "NE", "NORTHWEST": "NW", "SOUTHEAST": "SE", "SOUTHWEST": "SW",
}  # fmt: skip
_HALVES = {"½": "1/2", "¼": "1/4", "¾": "3/4"}
_COMPASS = "NSEW"


def tidy_words(text: str) -> str:
    """Write an address in plain capitals: one blank between words, no stops, no odd dashes.

    >>> tidy_words(" 10½  St.  James Pl ,Quillbrook")
    '10 1/2 ST JAMES PL, QUILLBROOK'
    """
    tidied = " ".join(text.upper().replace("–", "-").replace("—", "-").split())
    for sign, digits in _HALVES.items():
        tidied = tidied.replace(sign, f" {digits}")
    tidied = re.sub(r"(?<=\d)\.5(?= )", " 1/2", tidied)
    # a stop between digits stays, so that 10.7 never becomes 107
    tidied = re.sub(r"(?<!\d)\.|\.(?!\d)|['’`\"]", "", tidied)
    tidied = re.sub(r"[();]", " ", tidied)
    tidied = re.sub(r"\s*,[\s,]*", ", ", tidied)
    return " ".join(tidied.split()).strip(" ,-")


def join_numbers(line: str) -> str:
    """Write house numbers in one form: ranges, lists, letters and halves.

    >>> join_numbers("22 - 24 ELM ST"), join_numbers("22 & 24 ELM ST"), join_numbers("10 A ELM ST")
    ('22-24 ELM ST', '22,24 ELM ST', '10A ELM ST')
    >>> join_numbers("10 E ELM ST"), join_numbers("10 A ST"), join_numbers("10-1/2 ELM ST")
    ('10 E ELM ST', '10 A ST', '10 1/2 ELM ST')
    """
    line = re.sub(r"^(\d+)[ -]+(\d/\d) ", r"\1 \2 ", line)
    line = re.sub(r"^(\d+[A-Z]?) - (\d+[A-Z]?) ", r"\1-\2 ", line)
    line = re.sub(r"^(\d{2,}|\d+(?=/\d{2}))/(\d+) ", r"\1,\2 ", line)
    while (
        shorter := re.sub(r"^([\d,]+[A-Z]?)(?: ?& ?| AND | ?, ?)(\d+[A-Z]?) ", r"\1,\2 ", line)
    ) != line:
        line = shorter
    found = re.match(r"^(\d+)[ -]([A-Z]) (.+)$", line)
    if not found:
        return line
    number, letter, rest = found.groups()
    # 10 E Elm St lies east; 10 A St has a street of one letter
    is_name = letter in _COMPASS or rest.split(" ")[0] in SUFFIXES
    return line if is_name else f"{number}{letter} {rest}"


def parse_line(number: str, rest: str, *, is_whole: bool) -> tuple[str, str, str] | None:
    """Read street, unit and what follows behind the house number; None where the library refuses it or loses a word.

    >>> parse_line("12", "NORTH TWENTY FIRST STREET APARTMENT 4", is_whole=True)
    ('N 21ST ST', 'APT 4', '')
    >>> parse_line("12", "CR 7", is_whole=True)
    ('COUNTY ROAD 7', '', '')
    """
    plain = number if number.isdigit() else "1"
    words = _name_roads(_number_ordinals(rest))
    try:
        read = normalize_addr_str(f"{plain} {words}")
    except (AddressNormalizationError, ValueError, KeyError, IndexError, TypeError, AttributeError):
        # it raises its own error on most odd addresses, and plain ones on some
        return None
    line, unit, tail = (
        str(read[name] or "") for name in ("address_line_1", "address_line_2", "city")
    )
    state = str(read["state"] or "")
    if (state and not tail) or read["postal_code"] or not line.startswith(f"{plain} "):
        return None
    told = sum(len(part.split()) for part in (line, unit, tail, state))
    # a word that it drops may be the street's name: 12 & 14 Elm St comes back as 12 & St
    came = len(words.replace("#", "# ").split()) + 1
    if told < came or (is_whole and tail):
        return None
    return short_names(line.removeprefix(f"{plain} "), is_street=True), unit, tail


def short_names(text: str, *, is_street: bool = False) -> str:
    """Write what has two usual forms in one: Saint and St, Mount and Mt, North and N.

    >>> short_names("SAINT PAUL"), short_names("NORTH PLATTE")
    ('ST PAUL', 'N PLATTE')
    >>> short_names("SAINT JAMES PL", is_street=True), short_names("COUNTY RD 12", is_street=True)
    ('ST JAMES PL', 'COUNTY ROAD 12')
    """
    names = _NAMES if is_street else _NAMES | DIRECTIONS
    words = text.replace("COUNTY RD ", "COUNTY ROAD ").split()
    return " ".join([*(names.get(word, word) for word in words[:-1]), *words[-1:]])


def _number_ordinals(rest: str) -> str:
    """Write Fifth and Twenty-First in digits, and 5 Ave as 5th Ave."""
    joined = re.sub(rf"\b((?:{'|'.join(_TENS)})Y) ({'|'.join(_ONES)})\b", r"\1-\2", rest)
    words = joined.split()
    for at, word in enumerate(words):
        following = words[at + 1] if at + 1 < len(words) else ""
        value = _ORDINALS.get(word)
        if value is None and word.isdigit() and at == 0 and following in SUFFIXES:
            value = int(word)
        if value is not None:
            words[at] = f"{value}{_ending(value)}"
    return " ".join(words)


def _ending(value: int) -> str:
    is_teen = 10 <= value % 100 <= 20  # noqa: PLR2004  # 11th to 13th
    return "TH" if is_teen else _ENDINGS.get(value % 10, "TH")


def _name_roads(rest: str) -> str:
    """Spell out what the library takes for a creek or a street: CR 12, and St James behind North."""
    rest = re.sub(r"^((?:[NSEW] )?)(?:CR|CO RD|CTY RD|COUNTY RD) (?=\d)", r"\1COUNTY ROAD ", rest)
    first, _, others = rest.partition(" ")
    head, tail = (
        (f"{first} ", others) if first in {*DIRECTIONS, *DIRECTIONS.values()} else ("", rest)
    )
    return f"{head}SAINT {tail.removeprefix('ST ')}" if re.match(r"ST [A-Z]", tail) else rest
