"""The checklist on paper and as a spreadsheet."""

from __future__ import annotations

import io
from datetime import date

import pytest
from openpyxl import load_workbook

from scanner.pages.checklist import checklist_xlsx, plan_rounds, render_checklist
from scanner.schema.documents import Company
from scanner.schema.log_tables import QUESTIONS
from scanner.sheets.filled import ASKED, CHECKLIST
from tests.answers import answers
from tests.small_scan import SCRIPT_NAME, small_clients

TODAY = date(2027, 2, 1)


def rounds(*, route=None, day=None, told=()):
    return plan_rounds(small_clients(), answers(*told), route=route, day=day)


def page(*planned):
    return render_checklist(planned, company=Company(name="Green & Co"), book="lawns", today=TODAY)


def test_one_round_a_route_and_day_stops_in_order():
    names = [(one.route, one.day, [lot["client_id"] for lot in one.lots]) for one in rounds()]
    # As the ten clients of the small scan are listed; nobody's route comes last
    assert names == [
        ("North", "Monday", ["C0001", "C0002"]),
        ("North", "Tuesday", ["C0003"]),
        ("North", "Friday", ["C0009"]),
        ("South", "Tuesday", ["C0004", "C0005"]),
        ("South", "Friday", ["C0006", "C0007", "C0010"]),
        ("", "", ["C0008"]),
    ]


@pytest.mark.parametrize(
    ("options", "count"),
    [({"route": "south"}, 5), ({"day": " friday "}, 4), ({"route": "South", "day": "Friday"}, 3), ({"route": "West"}, 0)],
)  # fmt: skip
def test_route_and_day(options, count):
    assert sum(len(one.lots) for one in rounds(**options)) == count


def test_every_question_stands_on_the_page_once_a_lot():
    html = page(*rounds(route="North", day="Monday"))
    assert [question.name for question in ASKED] == list(QUESTIONS)
    for question in ASKED:
        assert html.count(f">{question.heading}<") == 1
    # Two lots: four yes-or-no questions, two scales of four, four numbers
    assert html.count("</i>yes") == html.count("</i>no") == 2 * 4
    assert html.count("<i></i>") == 2 * (4 * 2 + 2 * 4)
    assert html.count('class="line"') == 2 * 4


def test_what_the_steps_mean_stands_above_the_boxes_of_every_sheet():
    planned = rounds()
    html = page(*planned)
    legend = "0 good, 1 thin or dry, 2 weeds or moss, 3 bare"
    # six sheets, on each the looks of two edges
    assert html.count(f"<small>{legend}</small></th>") == 2 * len(planned) == 12
    for sheet in html.split("<section>")[1:]:
        assert sheet.index(legend) < sheet.index("<tbody>")


def test_a_lot_says_when_it_was_seen():
    html = page(*rounds(route="North", day="Monday", told=[("C0002", "curbed", "yes")]))
    assert html.count("seen 2027-02-10") == 1


def test_text_from_the_book_cannot_run():
    html = page(*rounds())
    assert SCRIPT_NAME not in html
    assert "&lt;script&gt;" in html
    assert "<script" not in html
    assert "default-src 'none'" in html


def test_no_lot_is_said():
    assert "No lot to look at." in page()


def test_same_rounds_same_bytes():
    planned = rounds()
    assert sheet_bytes(*planned) == sheet_bytes(*planned)
    assert page(*planned) == page(*planned)


def sheet_bytes(*planned):
    checklist_xlsx(file := io.BytesIO(), planned, book="b", today=TODAY)
    return file.getvalue()


def sheet_of(*planned):
    return load_workbook(io.BytesIO(sheet_bytes(*planned))).worksheets[0]


def test_sheet_has_the_same_lots_and_questions():
    sheet = sheet_of(*rounds())
    assert [cell.value for cell in sheet[1]] == list(CHECKLIST.names)
    assert CHECKLIST.names[-len(QUESTIONS) :] == QUESTIONS
    ids = [row[CHECKLIST.names.index("client_id")].value for row in sheet.iter_rows(min_row=2)]
    assert ids == [lot["client_id"] for one in rounds() for lot in one.lots]
    assert sheet.print_title_rows == "$1:$1"


def test_every_cell_to_fill_in_has_its_check():
    sheet = sheet_of(*rounds())
    by_place = {str(check.sqref): check for check in sheet.data_validations.dataValidation}
    assert len(by_place) == len(QUESTIONS) + 1
    assert by_place["H2:H11"].formula1 == '"yes,no"'
    assert by_place["J2:J11"].formula1 == '"0,1,2,3"'
    assert (by_place["L2:L11"].type, by_place["L2:L11"].formula2) == ("decimal", "200")
    assert by_place["G2:G11"].type == "date"
    assert all(check.showErrorMessage for check in by_place.values())


def test_formulas_are_text_in_the_sheet():
    sheet = sheet_of(*rounds())
    names = [row[CHECKLIST.names.index("name")] for row in sheet.iter_rows(min_row=2)]
    cell = next(cell for cell in names if str(cell.value).startswith("="))
    assert cell.data_type == "s"
    assert cell.quotePrefix


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    file = tmp_path_factory.mktemp("checklist") / "checklist.html"
    file.write_text(page(*rounds()), encoding="utf-8")
    return file


@pytest.fixture
def opened(tabs, file):
    return tabs.open(file)


@pytest.mark.browser
def test_it_prints_on_letter_paper_a_sheet_a_round(opened):
    content = opened.page.pdf(prefer_css_page_size=True)
    # Letter paper on its side is 792 by 612 points; nothing is cut off at the right
    assert content.count(b"/MediaBox [0 0 792 612]") == len(rounds())
    opened.page.set_viewport_size({"width": 960, "height": 720})
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= 960
    boxes = opened.page.locator(".box i").first.bounding_box()
    assert min(boxes["width"], boxes["height"]) >= 19  # 0.2 in: a cross made with a glove on
    opened.quiet()


@pytest.mark.browser
def test_on_a_phone_each_question_is_a_line_and_nothing_overlaps(opened):
    for width in (320, 390):
        opened.page.set_viewport_size({"width": width, "height": 844})
        assert opened.page.evaluate("document.documentElement.scrollWidth") <= width
        boxes = opened.page.evaluate(
            "[...document.querySelectorAll('section:first-of-type tbody tr:first-child td')].map((cell) => {"
            " const box = cell.getBoundingClientRect(); return [box.left, box.top, box.right, box.bottom]; })"
        )
        # no two cells of a lot share ground
        for at, (left, top, right, bottom) in enumerate(boxes):
            for other in boxes[at + 1 :]:
                assert (
                    other[0] >= right - 0.5
                    or other[1] >= bottom - 0.5
                    or other[2] <= left + 0.5
                    or other[3] <= top + 0.5
                )
        asked = opened.page.locator(
            "section:first-of-type tbody tr:first-child td[data-of]"
        ).count()
        assert asked == len(ASKED)
