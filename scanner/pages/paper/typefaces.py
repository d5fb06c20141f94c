"""
Which face writes which letter, how wide words are, and where lines break.

Latin-1 is set in Times and Helvetica, which every program that shows a PDF has. Any other letter is
set in the first Noto face that has it; only the letters used are embedded. Arabic letters are joined
and right-to-left runs turned before they are drawn. Scripts whose letters change places when they
meet (Devanagari and its kin) are written letter by letter.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from io import BytesIO
from itertools import groupby
from typing import Final

import arabic_reshaper
from bidi.algorithm import get_display  # the other form of it leaves brackets unturned
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from scanner.pages.paper.look import Type

FACES: Final = (
    "NotoSans", "NotoSansHebrew", "NotoSansArabic", "NotoEmoji", "NotoSansSymbols",
    "NotoSansArmenian", "NotoSansGeorgian", "NotoSansThai", "NotoSansLao", "NotoSansEthiopic",
    "NotoSansKhmer", "NotoSansMyanmar", "NotoSansDevanagari", "NotoSansBengali",
    "NotoSansGurmukhi", "NotoSansGujarati", "NotoSansOriya", "NotoSansTamil", "NotoSansTelugu",
    "NotoSansKannada", "NotoSansMalayalam", "NotoSansSinhala",
)  # fmt: skip
"""Faces beyond Latin-1, the likely ones first."""

MISSING: Final = "?"
NO_BREAK: Final = "\N{NO-BREAK SPACE}"

_UNITS = r"(?:ft|ft²|in|yd³|gal|lb|mi|h|cu|%|tons?|sticks?|rolls?|pots?|bags?|flats?|loads?|days?|weeks?)"
_NUMBER_AND_UNIT = re.compile(rf"(?<=[\d½¼¾]) (?={_UNITS}(?![^\W\d_]))")
_SKIN_TONES = range(0x1F3FB, 0x1F400)


@dataclass(frozen=True)
class Words:
    """Words as they can be written: letters that some face has, in the order of speech."""

    text: str
    unwritten: frozenset[str] = frozenset()
    """Letters that no face has, written as their plainest form or as a question mark."""


@lru_cache(maxsize=4096)
def prepare(text: str) -> Words:
    """Compose letters, join Arabic ones, keep numbers with their units, settle what no face has.

    >>> prepare("5 ft deep").text == "5\N{NO-BREAK SPACE}ft deep", prepare("\N{FULLWIDTH LATIN CAPITAL LETTER A}\N{CJK UNIFIED IDEOGRAPH-5F20}").text
    (True, 'A?')
    """
    plain = unicodedata.normalize("NFC", _NUMBER_AND_UNIT.sub(NO_BREAK, text))
    if any("\N{ARABIC LETTER HAMZA}" <= letter <= "\u06ff" for letter in plain):
        plain = arabic_reshaper.reshape(plain)
    plain = "".join(letter for letter in plain if not _is_hidden(letter))
    odd = (letter for letter in plain if not letter.isspace() and face_of(letter) is None)
    return Words("".join(map(_settle, plain)), frozenset(odd))


def _is_hidden(letter: str) -> bool:
    """Marks that steer other letters and show nothing: direction, joiners, variants."""
    if letter in "\n\t":
        return False
    steers = unicodedata.category(letter) in {"Cc", "Cf"} or "\ufe00" <= letter <= "\ufe0f"
    return steers or ord(letter) in _SKIN_TONES


def _settle(letter: str) -> str:
    if letter.isspace():
        return letter if letter in {NO_BREAK, "\n"} else " "
    if face_of(letter) is not None:
        return letter
    plainer = unicodedata.normalize("NFKD", letter)
    return plainer if all(face_of(part) is not None for part in plainer) else MISSING


@lru_cache(maxsize=4096)
def face_of(letter: str) -> str | None:
    """Name the face that writes a letter: blank for Times and Helvetica, None if there is none."""
    if letter.encode("cp1252", "ignore"):
        return ""
    return next((name for name in FACES if ord(letter) in _font(name).face.charToGlyph), None)


@lru_cache(maxsize=len(FACES))
def _font(name: str) -> TTFont:
    content = (files("manimgx_fonts") / f"{name}[wght].ttf").read_bytes()
    font = TTFont(name, BytesIO(content))
    pdfmetrics.registerFont(font)
    return font


def runs(text: str, weight: str) -> Iterator[tuple[str, str]]:
    """Cut prepared words into runs of one font each: its name and the letters."""
    # Most words are whole in Times or Helvetica, which write what this code page has
    if len(text.encode("cp1252", "ignore")) == len(text):
        yield weight, text
        return
    fonts = [font for word in text.split(" ") for font in (*_fonts_of(word, weight), weight)]
    for font, letters in groupby(zip(fonts, text, strict=False), key=lambda pair: pair[0]):
        yield font, "".join(letter for _, letter in letters)


def _fonts_of(word: str, weight: str) -> list[str]:
    """Font of each letter; a word that Times or Helvetica cannot write whole is not theirs in part."""
    faces = [face_of(letter) or "" for letter in word]
    if FACES[0] in faces:
        wide = _font(FACES[0]).face.charToGlyph
        faces = [face or (FACES[0] * (ord(x) in wide)) for face, x in zip(faces, word, strict=True)]
    return [face or weight for face in faces]


def turned(text: str) -> str:
    """Put right-to-left runs of one prepared line into the order in which they are drawn."""
    kinds = {unicodedata.bidirectional(letter) for letter in text}
    if not kinds & {"R", "AL", "AN"}:
        return text
    return str(get_display(text, base_dir="L" if "L" in kinds else "R"))


def width_of(text: str, kind: Type) -> float:
    """Width of prepared words [pt]."""
    return sum(
        pdfmetrics.stringWidth(letters, font, kind.size)
        for font, letters in runs(text, kind.weight)
    )


def wrap(text: str, kind: Type, width: float) -> list[str]:
    """Break prepared words into lines no wider than this [pt]; a longer word is broken too.

    >>> wrap("one two three", Type(10), 40)
    ['one two', 'three']
    """
    lines = []
    for paragraph in text.split("\n"):
        line = ""
        for word in paragraph.split(" "):
            longer = f"{line} {word}" if line else word
            if width_of(longer, kind) <= width:
                line = longer
                continue
            lines += [line] if line else []
            *full, line = _cut(word, kind, width)
            lines += full
        lines.append(line)
    return lines


def _cut(word: str, kind: Type, width: float) -> list[str]:
    """Break one word where it must."""
    pieces = [""]
    for letter in word:
        if pieces[-1] and width_of(pieces[-1] + letter, kind) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def shorten(text: str, kind: Type, width: float) -> str:
    """Cut prepared words to a width [pt], with an ellipsis where letters are left out."""
    if width_of(text, kind) <= width:
        return text
    while text and width_of(f"{text}…", kind) > width:
        text = text[:-1]
    return f"{text.rstrip()}…"
