"""Clients meet their lots by id, address or place, or nobody's: the traps of parcel layers."""

from __future__ import annotations

from collections import Counter

import pytest
import shapely

from tests.county_town import (
    EAST,
    NORTH,
    assemble,
    box,
    features_of,
    lot,
    parcels,
    point,
    row_of_lots,
    shapes,
    unmatched_rows,
    write_book,
)


def outline(assembly, client_id):
    features = features_of(assembly)
    is_lot = (features["kind"] == "property") & (features["client_id"] == client_id)
    return features.geometry[is_lot].union_all()


def is_at(shape, other):
    return shape.symmetric_difference(other).area < 0.5


def client(client_id="A", **cells):
    return {"client_id": client_id, **cells}


def at(x, y):
    lon, lat = point(x, y)
    return {"lon": lon, "lat": lat}


# Each client on a lot of his own, n: its id, its number, a point in it
WAYS = (
    (lambda n: {"parcel_id": f"10-{n + 1:03d}"}, "by_parcel_id"),
    (lambda n: {"parcel_id": f" 10-{n + 1:03d} "}, "by_parcel_id"),
    (lambda n: {"address": f"{101 + 2 * n} Clover Street, Quillbrook"}, "by_address"),
    (lambda n: {"parcel_id": "99-123", "address": f"{101 + 2 * n} Clover St"}, "by_address"),
    (lambda n: at(80 * n + 40, 60), "by_place"),
    (
        lambda n: {"parcel_id": "99-123", "address": "7 Nowhere Road"} | at(80 * n + 40, 60),
        "not_found",
    ),
    (
        lambda n: {"parcel_id": "99-123", "address": "the blue house"} | at(80 * n + 40, 60),
        "by_place",
    ),
    (lambda n: {"address": f"{101 + 2 * n} Clover Ln"} | at(80 * n + 40, 60), "by_place"),
)


def test_by_id_else_by_address_else_by_place(tmp_path):
    clients = [client(f"C{n}", **cells(n)) for n, (cells, _) in enumerate(WAYS)]
    made = assemble(write_book(tmp_path, *clients), {"property": row_of_lots(len(WAYS))})
    for way, count in Counter(way for _, way in WAYS).items():
        assert made.counts[way] == count, way
    for n, (_, way) in enumerate(WAYS):
        found = outline(made, f"C{n}")
        assert found.is_empty if way == "not_found" else is_at(found, lot(n)), n


def test_an_id_as_a_number_is_the_same_id(tmp_path):
    # an integer column with a null becomes 7.0 on the way
    layer = shapes(lot(0), lot(1), PIN=[7, None], SITUS=["", ""])
    made = assemble(write_book(tmp_path, client(parcel_id="7")), {"property": layer})
    assert is_at(outline(made, "A"), lot(0))


def test_id_and_address_that_name_two_lots_match_neither(tmp_path):
    book = write_book(tmp_path, client(parcel_id="10-002", address="105 Clover St"))
    made = assemble(book, {"property": row_of_lots()})
    row = unmatched_rows(book)["A"]
    assert made.counts["ambiguous"] == 1
    assert row["why"] == "parcel_id and address name two different lots"
    assert (row["likely_1"], row["likely_2"]) == ("10-002", "10-003")


def test_a_lot_in_another_town_than_the_point_is_not_taken(tmp_path):
    book = write_book(tmp_path, client(address="103 Clover St", **at(60_000, 60)))
    assemble(book, {"property": row_of_lots()})
    assert "more than 5 miles from its lon and lat" in unmatched_rows(book)["A"]["why"]


def test_a_point_on_a_lot_with_another_number_is_not_taken(tmp_path):
    book = write_book(tmp_path, client(address="109 Clover St", **at(120, 60)))
    assemble(book, {"property": row_of_lots()})
    row = unmatched_rows(book)["A"]
    assert row["why"] == "the lot at its lon and lat is 103 CLOVER ST"
    assert row["likely_1"] == "10-002"


def test_a_point_in_the_street_or_in_no_lot_is_not_snapped(tmp_path):
    reasons = {
        "street": (at(120, -25), "lie in the street"),
        "verge": (at(120, -5), "lie in no lot"),
        "far": (at(120, 500), "lie in no lot"),
        "line": (at(79, 60), "lie in a lot, but next to its line"),
        "zero": ({"lon": "0", "lat": "0"}, "no lon and lat that can be used"),
    }
    book = write_book(tmp_path, *(client(name, **place) for name, (place, _) in reasons.items()))
    layers = {"property": row_of_lots(), "street": shapes(box(-100, -40, 500, -10))}
    made = assemble(book, layers)
    assert made.counts["unmatched"] == len(reasons)
    rows = unmatched_rows(book)
    for name, (_, why) in reasons.items():
        assert why in rows[name]["why"], name


def test_a_point_next_to_a_line_needs_an_address_or_an_id_that_agrees(tmp_path):
    # Each a foot west of the line behind a lot of his own, n, with a lot between him and the next
    cases = (
        (lambda n: {"address": f"{101 + 2 * n} Clover Lane"}, True),  # its number and a street that is nearly the same
        (lambda n: {"parcel_id": f"10{n + 1:03d}"}, True),  # the id without its dash
        (lambda n: {"address": f"{101 + 2 * n} Elm St"}, False),
        (lambda n: {"address": f"{103 + 2 * n} Clover Lane"}, False),  # the neighbor's number
        (lambda n: {"parcel_id": f"10{n + 2:03d}"}, False),  # the neighbor's id
        (lambda _n: {}, False),
    )  # fmt: skip
    clients = [
        client(f"C{case}", **cells(2 * case), **at(160 * case + 79, 60))
        for case, (cells, _) in enumerate(cases)
    ]
    book = write_book(tmp_path, *clients)
    made = assemble(book, {"property": row_of_lots(2 * len(cases))})
    assert made.counts["by_place"] == 2
    for case, (_, is_taken) in enumerate(cases):
        if is_taken:
            assert is_at(outline(made, f"C{case}"), lot(2 * case)), case
        else:
            assert "next to its line" in unmatched_rows(book)[f"C{case}"]["why"], case


@pytest.mark.parametrize(
    ("parcel_address", "client_address", "is_found"),
    [
        ("45 HARROW ST", "45 Harrow St, Unit 1", True),
        ("45 HARROW ST, QUILLBROOK", "45 Harrow St Apt B, Quillbrook", True),
        ("45 HARROW ST, FERRYTON", "45 Harrow St Apt B, Quillbrook", False),
        ("45 HARROW ST UNIT 2", "45 Harrow St, Unit 1", False),
        ("45 HARROW ST UNIT 2", "45 Harrow St", False),
    ],
)
def test_a_unit_finds_the_lot_of_its_house(tmp_path, parcel_address, client_address, is_found):
    layer = parcels(("1-1", parcel_address, lot(0)), ("1-2", "47 HARROW ST", lot(1)))
    book = write_book(tmp_path, client(address=client_address))
    assert assemble(book, {"property": layer}).counts["by_address"] == is_found


def test_a_unit_finds_no_lot_where_the_house_has_several(tmp_path):
    layer = parcels(("1-1", "45 HARROW ST", lot(0)), ("1-2", "45 HARROW ST UNIT 2", lot(1)))
    clients = [client("A", address="45 Harrow St Unit 2"), client("B", address="45 Harrow St #3")]
    book = write_book(tmp_path, *clients)
    made = assemble(book, {"property": layer})
    assert is_at(outline(made, "A"), lot(1))
    assert "no parcel has its address" in unmatched_rows(book)["B"]["why"]


def test_two_units_of_one_lot_take_it_once(tmp_path):
    clients = [client("A", address="101 Clover St #1"), client("B", address="101 Clover St #2")]
    book = write_book(tmp_path, *clients)
    made = assemble(book, {"property": row_of_lots()})
    assert is_at(outline(made, "A"), lot(0))
    assert unmatched_rows(book)["B"]["why"] == "its lot is the lot of A already"


def test_of_several_lots_at_one_address_the_point_tells_which(tmp_path):
    layer = parcels(("1-1", "22 HARROW ST", lot(0)), ("1-2", "22 HARROW ST", lot(1)))
    book = write_book(tmp_path, client(address="22 Harrow St", **at(82, 60)))
    assert is_at(outline(assemble(book, {"property": layer}), "A"), lot(1))


def test_swapped_and_zero_places_are_named(tmp_path):
    lon, lat = point(120, 60)
    book = write_book(tmp_path, client("A", lon=lat, lat=lon), client("B", lon=0, lat=0))
    made = assemble(book, {"property": row_of_lots()})
    told = made.problems.set_index("client_id")["problem"]
    assert "longitude and latitude are swapped" in told["A"]
    assert "0, 0 is in the ocean" in told["B"]


def test_a_range_in_the_layer_holds_its_numbers(tmp_path):
    layer = parcels(("1-1", "22-24 HARROW ST", lot(0)), ("1-2", "26-30 HARROW ST", lot(1)))
    clients = [
        client("A", address="24 Harrow Street"),
        client("B", address="28 Harrow St"),
        client("C", address="25 Harrow St"),
    ]
    made = assemble(write_book(tmp_path, *clients), {"property": layer})
    assert is_at(outline(made, "A"), lot(0))
    assert is_at(outline(made, "B"), lot(1))
    assert (made.counts["by_address"], made.counts["not_found"]) == (2, 1)


def test_several_lots_at_one_address_are_no_match(tmp_path):
    layer = parcels(
        ("1-1", "22 HARROW ST", lot(0)),
        ("1-2", "22 HARROW ST", lot(1)),
        ("1-3", "22-24 HARROW ST", lot(2)),
    )
    book = write_book(tmp_path, client(address="22 Harrow St"))
    made = assemble(book, {"property": layer})
    row = unmatched_rows(book)["A"]
    assert made.counts["ambiguous"] == 1
    assert row["why"] == "3 parcels have its address"
    assert [row["likely_1"], row["likely_2"], row["likely_3"]] == ["1-1", "1-2", "1-3"]


def test_one_address_in_two_towns_is_told_apart_by_the_town_only(tmp_path):
    layer = parcels(
        ("1-1", "22 HARROW ST, QUILLBROOK", lot(0)), ("1-2", "22 HARROW ST, FERRYTON", lot(1))
    )
    clients = [
        client("A", address="22 Harrow St, Ferryton, NE"),
        client("B", address="22 Harrow St"),
    ]
    made = assemble(write_book(tmp_path, *clients), {"property": layer})
    assert is_at(outline(made, "A"), lot(1))
    assert (made.counts["matched"], made.counts["ambiguous"]) == (1, 1)


@pytest.mark.parametrize("written", ["ROW", "-", "N/A", "000-000", "null"])
def test_an_id_that_is_a_word_or_a_dash_stands_for_no_lot(tmp_path, written):
    layer = parcels(
        (written, "5 ELM ST", lot(0)), ("10-002", "7 ELM ST", lot(1)), (None, "9 ELM ST", lot(2))
    )
    book = write_book(tmp_path, client(parcel_id=written, address="5 Elm St"))
    made = assemble(book, {"property": layer})
    assert made.counts["not_found"] == 1
    assert "stands for no lot" in unmatched_rows(book)["A"]["why"]


def test_an_id_that_sixty_parcels_share_stands_for_no_lot(tmp_path):
    shared = [("99-1", None, box(20 * n, 400, 20 * n + 15, 430)) for n in range(60)]
    layer = parcels(*shared, ("10-001", "5 ELM ST", lot(0)))
    book = write_book(tmp_path, client("A", parcel_id="99-1"), client("B", **at(45, 415)))
    made = assemble(book, {"property": layer})
    assert "60 parcels share it" in unmatched_rows(book)["A"]["why"]
    assert "in no lot" in unmatched_rows(book)["B"]["why"]
    assert made.counts["matched"] == 0


def test_parcels_that_share_an_id_with_other_addresses_or_far_off_are_no_lot(tmp_path):
    layer = parcels(
        ("1-1", "5 ELM ST", lot(0)), ("1-1", "7 ELM ST", lot(1)),
        ("1-2", "9 ELM ST", lot(2)), ("1-2", None, box(3000, 0, 3080, 120)),
    )  # fmt: skip
    book = write_book(tmp_path, client("A", parcel_id="1-1"), client("B", parcel_id="1-2"))
    assemble(book, {"property": layer})
    assert "different addresses share it" in unmatched_rows(book)["A"]["why"]
    assert "lie apart share it" in unmatched_rows(book)["B"]["why"]


def test_a_lot_in_several_parts_is_one_lot(tmp_path):
    parts = shapely.MultiPolygon([lot(2), box(250, 0, 270, 50)])
    layer = parcels(
        ("1-1", "5 ELM ST", lot(0)), ("1-1", None, box(0, 130, 80, 200)), ("1-2", "9 ELM ST", parts)
    )
    made = assemble(
        write_book(tmp_path, client("A", address="5 Elm St"), client("B", parcel_id="1-2")),
        {"property": layer},
    )
    assert outline(made, "A").area == pytest.approx(80 * 120 + 80 * 70, rel=1e-4)
    assert outline(made, "B").area == pytest.approx(80 * 120 + 20 * 50, rel=1e-4)


def test_the_same_ground_twice_is_one_lot(tmp_path):
    layer = parcels(
        ("1-1", "5 ELM ST", lot(0)),
        ("1-1", "5 ELM ST", lot(0)),
        (None, "5 ELM ST", lot(0)),
        (None, None, lot(0)),
    )
    clients = [client("A", address="5 Elm St")]
    made = assemble(write_book(tmp_path, *clients), {"property": layer})
    assert made.counts["by_address"] == 1
    made = assemble(write_book(tmp_path, client("A", **at(40, 60))), {"property": layer})
    assert made.counts["by_place"] == 1


def test_stacked_condominiums_go_by_unit_or_id_and_are_taken_once(tmp_path):
    layer = parcels(*((f"2-{n}", f"12 ELM TER UNIT {n}", lot(0)) for n in range(1, 5)))
    clients = [
        client("A", address="12 Elm Terrace Apt 2"), client("B", address="12 Elm Ter"),
        client("C", **at(40, 60)), client("D", parcel_id="2-3"),
    ]  # fmt: skip
    book = write_book(tmp_path, *clients)
    made = assemble(book, {"property": layer})
    rows = unmatched_rows(book)
    assert is_at(outline(made, "A"), lot(0))
    assert "no parcel has its address" in rows["B"]["why"]
    assert rows["C"]["why"] == "its lon and lat lie in several lots"
    assert rows["D"]["why"] == "its lot is the lot of A already"
    assert (features_of(made)["kind"] == "property").sum() == 1


def test_the_right_of_way_of_a_town_is_nobodys_lot(tmp_path):
    lots = [(f"10-{n:03d}", None, box(100 * n, 0, 100 * n + 80, 120)) for n in range(12)]
    way = box(-20, -20, 1220, 140).difference(shapely.union_all([shape for *_, shape in lots]))
    layer = parcels(*lots, ("77-001", None, way))
    clients = [
        client("A", **at(90, 60)),
        client("B", parcel_id="77-001"),
        client("C", **at(140, 60)),
    ]
    book = write_book(tmp_path, *clients)
    made = assemble(book, {"property": layer})
    rows = unmatched_rows(book)
    assert "in no lot" in rows["A"]["why"]
    assert "right-of-way" in rows["B"]["why"]
    assert made.counts["by_place"] == 1
    # as a neighbor it would stand between every front and its curb
    owned = features_of(made)
    assert owned.geometry[owned["kind"] == "property"].area.max() < 80 * 120 + 1


def test_a_paved_parcel_is_right_of_way_too(tmp_path):
    layer = parcels(("10-001", None, lot(0)), ("10-900", None, box(0, -60, 400, 0)))
    book = write_book(tmp_path, client(**at(40, -52)))
    layers = {
        "property": layer,
        "street_centerline": shapes(
            shapely.LineString([(EAST - 50, NORTH - 25), (EAST + 500, NORTH - 25)])
        ),
    }
    assemble(book, layers, street_width_ft=36.0)
    assert "in no lot" in unmatched_rows(book)["A"]["why"]


def test_two_clients_of_one_lot_are_one_lot(tmp_path):
    book = write_book(
        tmp_path, client("A", parcel_id="10-001"), client("B", address="101 Clover St")
    )
    made = assemble(book, {"property": row_of_lots()})
    assert unmatched_rows(book)["B"]["why"] == "its lot is the lot of A already"
    assert made.counts["matched"] == 1


def test_likely_lots_are_those_that_a_slip_explains(tmp_path):
    clients = [
        client("zeros", parcel_id="10001"),
        client("typo", address="103 Clovr Street"),
        client("number", address="104 Clover Street"),
        client("beside", **at(120, -5)),
        client("half", address="103 1/2 Clover St"),
        client("no suffix", address="105A Clover, Quillbrook"),
        client("unread", address="105 A Clover Quillbrook"),
        client("number alone", address="105"),
    ]
    book = write_book(tmp_path, *clients)
    layer = parcels(
        *((f"2{at + 1}-0001", f"{101 + 2 * at} CLOVER ST", lot(at)) for at in range(4)),
        ("10-001", "8 OAK ST", lot(9)),
    )
    assemble(book, {"property": layer})
    rows = unmatched_rows(book)
    assert rows["zeros"]["likely_1"] == "10-001"
    assert rows["typo"]["likely_1"] == "22-0001"
    assert {rows["number"]["likely_1"], rows["number"]["likely_2"]} == {"22-0001", "23-0001"}
    assert rows["beside"]["likely_1"] == "22-0001"
    assert rows["half"]["likely_1"] == "22-0001"
    for name in ("no suffix", "unread"):
        assert (rows[name]["likely_1"], rows[name]["likely_2"]) == ("23-0001", "")
    assert rows["number alone"]["likely_1"] == ""
    assert rows["beside"]["likely_1_address"] == "103 CLOVER ST"


def test_every_count_adds_up_to_the_client_list(tmp_path):
    clients = [
        client("A", parcel_id="10-001"), client("B", address="103 Clover St"), client("C", **at(200, 60)),
        client("D", parcel_id="ROW"), client("E"), client("F", parcel_id="10-001"), client("G", **at(241, 60)),
    ]  # fmt: skip
    book = write_book(tmp_path, *clients)
    layers = {
        "property": row_of_lots(),
        "house": shapes(box(20, 35, 60, 65)),
        "street": shapes(box(-100, -40, 100, -10)),
    }
    counts = assemble(book, layers).counts
    assert counts["clients"] == len(clients)
    assert (
        counts["matched"]
        == counts["by_choice"] + counts["by_parcel_id"] + counts["by_address"] + counts["by_place"]
        == 3
    )
    assert counts["unmatched"] == counts["ambiguous"] + counts["not_found"] == 4
    assert counts["matched"] + counts["unmatched"] == counts["clients"]
    assert (counts["with_house"], counts["without_house"]) == (1, 2)
    assert (counts["with_curb"], counts["without_curb"]) == (2, 1)
    assert list(unmatched_rows(book)) == ["D", "E", "F", "G"]
