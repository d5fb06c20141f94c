"""The printed page: letters, lines, boxes, and that nothing stands on anything else."""

from __future__ import annotations

import io
import re
import unicodedata
from pathlib import Path

import pdfplumber
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.pages.paper.column import BLANK, TICK, Column, Track
from scanner.pages.paper.look import A4, BODY, LETTER, LIST, TITLE
from scanner.pages.paper.sheet import Paper
from scanner.pages.paper.typefaces import prepare, runs, shorten, turned, width_of, wrap
from tests.paper_boxes import clashes

NO_BREAK = "\N{NO-BREAK SPACE}"
TRACKS = [
    Track("task", 0, 110),
    Track("planned", 110, 170, "right"),
    Track("took", 190, 250),
    Track("in", 300, 334, "right"),
]
RIGHT = ("Larkspindle Lawn Company", "308-555-0100", "license invented 0000")


def fill(paper: Paper, name: str = "Winifred Ashgrover") -> Paper:
    """Draw one of everything."""
    column = Column.full(paper, paper.head(f"Quote for {name}", "March 3, 2026", RIGHT))
    left, right = column.part(0, 334), column.part(352, column.width)
    left.section("What we build")
    left.bed("A", "18 ft along the curb, 5½ ft deep", "97 ft²")
    left.bed("B", "a bed with so much to say about it that one line will not do, " * 2, "89 ft²")
    left.words("Mulch 3 in deep with 6 catmint (2 ft tall, 2½ ft wide). " * 3)
    left.section("Kept clear, and why")
    left.kept_clear(1, "Drive: low plants only, so that you see who is coming when you back out.")
    left.kept_clear(2, "Water meter.")
    left.section("Hours")
    left.heads(TRACKS)
    left.row(TRACKS, ["Strip the turf, in pieces that one person lifts", "4.1 h", BLANK, TICK])
    left.row(TRACKS, [name, "11.0 h", BLANK, TICK], shaded=True)
    left.rule()
    left.row(TRACKS, ["all", "15.1 h", BLANK, ""], bold=True)
    left.section("Notes")
    left.lines(3)
    right.section("Measure and ask")
    right.blank("length A", start=60, end=120, unit="ft")
    right.choices("slope", ["flat", "some", "steep"], start=60)
    right.pair(name, "$2,950–5,600", LIST.bold)
    column.y = min(left.y, right.y)
    column.to_tick("Trailer is free on all four days.")
    column.to_tick("Two loads on Monday, one on each other day. " * 4)
    column.signatures([(name, 0, 160), ("date", 170, 240)])
    paper.foot("We measure again with you before the price is fixed.", f"Page {paper.page}")
    return paper


def read(content: bytes) -> pdfplumber.page.Page:
    return pdfplumber.open(io.BytesIO(content)).pages[0]


@pytest.mark.parametrize("size", [LETTER, A4])
@pytest.mark.parametrize("name", ["Winifred Ashgrover", "Bartholomew " * 8, "W" * 70])
def test_nothing_stands_on_anything_else(size: tuple[float, float], name: str) -> None:
    assert clashes(fill(Paper(size, title="Quote"), name)) == []


def test_a_clash_is_seen() -> None:
    paper = Paper(title="Quote")
    paper.text(100, 100, "one")
    paper.text(100, 109, "two")
    paper.text(100, 120, "free")
    paper.text(30, 300, "out")
    assert clashes(paper) == [("one", "two"), ("out", "margin")]


def test_boxes_are_where_the_words_stand() -> None:
    """A reader of the file finds each word within the box on record."""
    paper = fill(Paper(title="Quote"))
    page = read(paper.finish())
    boxes = [(b.left, paper.height - b.top, b.right, paper.height - b.bottom) for b in paper.boxes]
    words = page.extract_words()
    assert len(words) > 100
    for word in words:
        middle = (word["top"] + word["bottom"]) / 2
        assert any(
            left - 0.1 <= word["x0"] and word["x1"] <= right + 0.1 and top < middle < bottom
            for left, top, right, bottom in boxes
        ), word["text"]


def test_text_comes_back_and_right_edges_align() -> None:
    page = read(fill(Paper(title="Quote")).finish())
    text = page.extract_text().replace(NO_BREAK, " ")
    for words in (
        "What we build",
        "18 ft along the curb, 5½ ft deep",
        "97 ft²",
        "license invented",
    ):
        assert words in text
    hours = [word for word in page.extract_words() if word["text"] == "h"]
    assert {round(word["x1"], 2) for word in hours} == {36 + 170}


def test_same_input_same_bytes() -> None:
    one, other = (fill(Paper(title="Quote"), "Ольга 🌷 محمد").finish() for _ in range(2))
    assert one == other


def test_plain_pages_embed_nothing_and_stay_small() -> None:
    content = fill(Paper(title="Quote")).finish()
    assert b"FontFile" not in content
    assert len(content) < 15_000


@pytest.mark.parametrize(
    ("name", "fonts"),
    [
        ('Zoë O\'Brien `x` ${y} <b> & "q"', {"Helvetica"}),
        ("Łukasz Żółć", {"NotoSans"}),
        ("Ольга Петрова", {"NotoSans"}),
        ("Anna Łoś", {"Helvetica", "NotoSans"}),
        ("שלום", {"NotoSansHebrew"}),
        ("محمد", {"NotoSansArabic"}),
        ("🌷", {"NotoEmoji"}),
    ],
)
def test_every_letter_has_a_face(name: str, fonts: set[str]) -> None:
    words = prepare(name)
    assert not words.unwritten
    assert {font for font, _ in runs(words.text, BODY.weight) if _.strip()} == fonts
    assert "".join(letters for _, letters in runs(words.text, BODY.weight)) == words.text


def test_letters_without_a_face_are_told() -> None:
    words = prepare("张 Ａ Ray")
    assert words.text == "? A Ray"
    assert words.unwritten == {"张", "Ａ"}
    paper = fill(Paper(title="Quote"), "张伟")
    assert paper.unwritten == {"张", "伟"}
    assert "??" in read(paper.finish()).extract_text()


def test_right_to_left_words_are_turned_and_joined() -> None:
    assert turned("כהן 12 Ray") == "12 ןהכ Ray"
    # Brackets among right-to-left letters are mirrored (UAX 9, rule L4)
    assert turned("כהן (א)") == "(א) ןהכ"
    joined = prepare("محمد").text
    assert unicodedata.normalize("NFKC", joined) == "محمد"
    assert [unicodedata.name(x).split()[-2:] for x in joined] == [
        ["INITIAL", "FORM"], ["MEDIAL", "FORM"], ["MEDIAL", "FORM"], ["FINAL", "FORM"],
    ]  # fmt: skip


def test_marks_that_show_nothing_are_left_out() -> None:
    assert prepare("a\u200bb\u202ec\u2066d\x07e\ufe0f").text == "abcde"


def test_a_number_keeps_its_unit() -> None:
    text = prepare("18 ft along, 5½ ft deep, 97 ft², 3 in deep, 10 % of 2 yd³, 6 insects").text
    glued = {word for word in text.split(" ") if NO_BREAK in word}
    assert {word.replace(NO_BREAK, " ") for word in glued} == {
        "18 ft", "5½ ft", "97 ft²,", "3 in", "10 %", "2 yd³,",
    }  # fmt: skip
    assert all(not line.endswith("18") for line in wrap(text, BODY, 22))


@settings(max_examples=60, deadline=None)
@given(st.text(st.characters(codec="utf-8"), max_size=60), st.floats(30, 200))
def test_lines_are_never_too_wide_and_lose_nothing(text: str, width: float) -> None:
    words = prepare(text).text
    lines = wrap(words, LIST, width)
    assert "".join(lines).replace(" ", "") == words.replace(" ", "").replace("\n", "")
    assert all(width_of(line, LIST) <= width or len(line) == 1 for line in lines)


def test_what_is_too_long_is_cut() -> None:
    short = shorten("Bartholomew " * 9, TITLE, 200)
    assert short.startswith("Bartholomew")
    assert short.endswith("…")
    assert width_of(short, TITLE) <= 200
    assert shorten("Ann", TITLE, 200) == "Ann"


def test_longer_words_grow_a_row() -> None:
    column = Column(Paper(title="Order"), 36, 370, 700)
    column.row(TRACKS, ["short", "1", "", ""])
    one_line = 700 - column.y
    column.row(TRACKS, ["long enough for a second line of words", "1", "", ""])
    assert 700 - column.y == pytest.approx(2 * one_line + LIST.leading)


def test_landscape_and_pages() -> None:
    paper = Paper(A4, title="Calls", landscape=True)
    assert (paper.width, paper.height) == A4[::-1]
    paper.head("Calls", "February 16, 2026", RIGHT)
    paper.next_page()
    paper.text(100, 100, "two")
    assert paper.boxes[-1].page == 2
    assert len(pdfplumber.open(io.BytesIO(paper.finish())).pages) == 2


def test_words_and_colors_have_one_home():
    """Whatever is printed goes through the page, in the colors of the look."""
    pages = Path(__file__).parents[2] / "scanner" / "pages"
    others = [path for path in pages.rglob("*.py") if path.parent.name != "paper"]
    printed = [path for path in others if "pages.paper" in path.read_text(encoding="utf-8")]
    assert len(printed) >= 2
    for path in printed:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"drawString|drawRightString|drawCentredString|beginText", text), path
        assert not re.search(r"#[0-9a-f]{6}|HexColor|setFont", text), path
