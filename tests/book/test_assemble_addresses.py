"""
Addresses as USPS Publication 28 writes them: equal ones found equal, others never.

Publication 28 (October 2024): suffixes appendix C1, directionals 233, secondary units 213 and
appendix C2, ordinals as numerals and fractional numbers 232 and appendix D; read from memory.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.book.county.addresses import Address, find_towns, read_address
from scanner.book.county.layer_columns import list_names


def key(text: str, **options: object) -> tuple[str, str, str] | None:
    read = read_address(text, **options)
    return None if read is None else (read.written, read.street, read.unit)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("101 Clover Street", "101 CLOVER ST"),
        ("101 Clover Street, Quillbrook", "101 clover st."),
        ("101 Clover Street Quillbrook NE 68847-1234", "101 CLOVER ST"),
        ("101 Clover Street, Quillbrook, NE 68847", "101 CLOVER ST"),
        ("101 CLOVER ST,QUILLBROOK,NE,68847", "101 CLOVER ST"),
        ("101 Clover St, Quillbrook NE", "101 Clover St Quillbrook, NE"),
        ("12 North Elm Avenue", "12 N ELM AVE"),
        ("12 Northwest Elm Ave", "12 NW ELM AVE"),
        ("12 Elm Ave West", "12 ELM AVE W"),
        ("215 Fifth Avenue", "215 5th Ave"),
        ("12 Twenty-First St", "12 21ST ST"),
        ("12 Twenty First St", "12 21st Street"),
        ("12 Thirteenth Court", "12 13TH CT"),
        ("12 5 Ave", "12 5TH AVE"),
        ("12 Elm St Apt 4", "12 ELM ST UNIT 4"),
        ("12 Elm St #4", "12 Elm St, Apartment 4, Quillbrook"),
        ("12 Elm St, Ste B", "12 ELM STREET SUITE B"),
        ("22-24 Harrow St", "22 - 24 HARROW STREET"),
        ("12 & 14 Elm St", "12 AND 14 ELM ST"),
        ("12, 14 Elm St", "12/14 ELM ST"),
        ("10 1/2 Elm St", "10½ ELM ST"),
        ("10.5 Elm St", "10-1/2 Elm St"),
        ("10A Elm St", "10 A ELM ST"),
        ("10-A Elm St", "10a elm st"),
        ("3 St. James Place", "3 SAINT JAMES PL"),
        ("3 North St. James Ct", "3 N SAINT JAMES CT"),
        ("3 Mount Vernon Dr", "3 MT VERNON DR"),
        ("3 CR 12", "3 COUNTY ROAD 12"),
        ("12 Highway 30", "12 HWY 30"),
        ("12 O'Brien Road", "12 OBRIEN RD"),
        ("12 Park Place Ct", "12 PARK PLACE COURT"),
        ("12 Elm Ct Hartford CT 06101", "12 Elm Court"),
        ("12 A Street NE, Washington, DC 20002", "12 A ST NE"),
        ("N6W23001 Bluemound Road", "N6W23001 BLUEMOUND RD"),
    ],
)
def test_two_ways_of_writing_one_address(one, other):
    assert key(one) == key(other) is not None


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("101 Clover St", "101 Clover Ave"),
        ("101 Clover St", "101 Clover"),
        ("101 Clover St", "101 N Clover St"),
        ("101 Clover St N", "101 N Clover St"),
        ("12 A Street NE", "12 A Street NW"),
        ("12 A Street NE", "12 A Street"),
        ("10 A Elm St", "10 E Elm St"),
        ("10 A St", "10A Elm St"),
        ("10 Elm St", "10 1/2 Elm St"),
        ("10.7 Elm St", "107 Elm St"),
        ("12 Elm St Apt 4", "12 Elm St"),
        ("12 Elm St Lot 4", "12 Elm St Apt 4"),
        ("12 and 14 Elm St", "12 and 14 Oak St"),
        ("10 Big Bobolink Ct", "10 Big Bobolink"),
        ("12 Old Virginia Ln", "12 Old Ln"),
        ("12 Elm Street West Point NE", "12 Elm Street"),
        ("34-12 31st Ave", "34 31st Ave"),
    ],
)
def test_unlike_addresses_stay_apart(one, other):
    assert key(one) != key(other)


@pytest.mark.parametrize(
    "text",
    ["", "-", "unknown", "PO Box 12", "RR 2 Box 15", "Clover Street", "101", "0 Clover St", "000 Clover St",
     "Smith, John, 12 Clover St", "12 Clover St & 5th Ave", "12 Elm St, Quillbrook, Buffalo County, NE",
     "12 Elm St E St Paul MN",  "10.7 Elm St", "UNASSIGNED LOCATION", "12 Elm St Box 4"],
)  # fmt: skip
def test_what_cannot_be_read_without_guessing_has_no_key(text):
    assert read_address(text) is None


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("22-24 Elm St", ("22", "24")),
        ("101-109 Elm St", ("101", "103", "105", "107", "109")),
        ("22-25 Elm St", ("22-25",)),  # odd and even: no range on one side of a street
        ("34-12 31st Ave", ("34-12",)),  # a hyphenated number
        ("1-05 Elm St", ("1-05",)),
        ("2-900 Elm St", ("2-900",)),
        ("12 & 14 & 16 Elm St", ("12", "14", "16")),
        ("10A Elm St", ("10A",)),
    ],
)
def test_numbers_that_an_address_holds(text, numbers):
    assert read_address(text).numbers == numbers


def test_a_town_without_a_comma_is_known_from_where_it_has_one():
    towns = find_towns(["1 Elm St, West Point, NE 68788", "2 Elm St, Apt 4", "3 Elm St", "x, 12"])
    assert towns == {"WEST POINT"}
    read = read_address("12 Elm Street West Point NE", towns=towns)
    assert (read.street, read.town) == ("ELM ST", "W POINT")


def test_towns_and_zip_codes_agree_unless_both_are_given_and_differ():
    plain = read_address("12 Elm St")
    here = read_address("12 Elm St, St. Paul, MN 55101")
    there = read_address("12 Elm St, Saint Paul, MN 55102")
    assert plain.agrees(here)
    assert here.agrees(read_address("12 Elm St, Saint Paul"))
    assert not here.agrees(there)
    assert not here.agrees(read_address("12 Elm St, Ferryton"))


@given(st.text(max_size=60))
def test_no_text_breaks_it(text):
    assert isinstance(read_address(text), Address | None)


@given(
    st.integers(1, 99999), st.sampled_from(["", "N ", "North ", "SW "]),
    st.sampled_from(["Clover", "Old Mill", "Fifth", "St. James"]), st.sampled_from(["Street", "ave", "Ct.", "Parkway"]),
)  # fmt: skip
def test_capitals_blanks_and_tails_change_nothing(number, direction, name, suffix):
    text = f"{number} {direction}{name} {suffix}"
    same = key(f"  {text.upper()} ,  Quillbrook,  ne  68847 ")
    # Saints behind a direction may be too doubtful to read, and are then left alone
    assert key(text) == same
    assert same is not None or (direction and name == "St. James")


def test_long_lists_are_cut():
    assert list_names(range(40)).endswith("29 and 10 more")
