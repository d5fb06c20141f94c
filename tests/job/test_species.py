"""Which species goes where: height, width, zone, sun, size, a client's own wish."""

from __future__ import annotations

import pandas as pd
import pytest
import shapely

from scanner.book.plants import read_plants
from scanner.book.settings import read_rules
from scanner.job.planting import place_plants
from scanner.job.species import choose_plants, size_words
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import PLANTS, empty_table
from tests.job.job_cases import bed, offer_beds, rate_book

SPECIES, RULES, RATES = read_plants(None)[0], read_rules(None)[0], rate_book()

HIGH = ("coontie", "zexmenia", "silver_wormwood", "dwarf_yaupon", "prairie_dropseed")
"""Taller than 30 in grown up (the sources stand beside each in plants.toml)."""


def answered(**words):
    rows = [("C1", question, answer, "2027-03-01") for question, answer in words.items()]
    return pd.DataFrame(rows, columns=[*ANSWERS.columns])


def choose(*rows, planting="accent", zone="5b", species=SPECIES, rates=RATES, rules=None, **words):
    table = offer_beds(*rows)
    plants = place_plants(table, rates=rates)
    return choose_plants(
        plants[plants["planting"] == planting], table, answered(**words), species=species,
        rules=RULES.model_copy(update={"zone": zone, **(rules or {})}), rates=rates,
    )  # fmt: skip


def names(chosen):
    return dict(zip(chosen["plant"], chosen["plants"], strict=True))


def test_the_worked_bed_has_ten_of_one_species():
    # 60 x 4 ft: shrubs zigzag 8 in about the middle, so 16 in off the border: 32 in is the widest, and catmint grows 31
    chosen, problems = choose(bed())
    assert problems.empty
    assert names(chosen) == {"catmint": "10 catmint, 3 gal"}
    row = chosen.iloc[0]
    # the rate book's 3-gal pot is $20: nothing is added
    assert (row["height_in"], row["spread_in"], row["extra_cents"]) == (28, 31, 0)


def test_a_full_planting_has_a_front_row_half_as_tall():
    # rows of 30 and 29 at 24 in, 12 in off the border: 24 in is the widest, so catmint is out; half of a daylily's 16 in is 8
    chosen, _ = choose(bed(), planting="planted")
    assert names(chosen) == {"moss_phlox": "30 moss phlox, 1 gal", "daylily": "29 daylilies, 1 gal"}
    assert chosen.set_index("plant")["is_front"].to_dict() == {"moss_phlox": True, "daylily": False}


def test_at_a_house_the_front_row_is_the_one_away_from_the_wall():
    plants = place_plants(offer_beds(bed("C1-house-1", along="house", face="front")), rates=RATES)
    rows = plants[plants["planting"] == "planted"].groupby("is_front")["y_ft"]
    assert rows.min()[True] > rows.max()[False]
    # both rows stand in their light there: sun and half shade
    chosen, _ = choose(bed("C1-house-1", along="house", face="front"), planting="planted")
    assert {*chosen["plant"]} <= {
        name for name, plant in SPECIES.items() if {"sun", "part"} <= {*plant.sun}
    }


def test_one_row_is_no_front():
    chosen, _ = choose(bed(depth=2.5), planting="planted")
    assert names(chosen) == {"daylily": "30 daylilies, 1 gal"}


def test_nothing_above_the_limit_in_a_sight_triangle():
    tall = {name: SPECIES[name] for name in HIGH}
    corner = bed(low_plant_ft2=40.0, depth=12, plantable=shapely.box(4, 3, 60, 9))
    for zone in ("5b", "8b", "10a"):
        chosen, problems = choose(corner, zone=zone, species=tall)
        assert set(chosen["plant"]) == {""}
        assert set(problems["severity"]) == {"fault"}
    # the same bed off the triangle takes what is not above 36 in
    assert "silver_wormwood" in names(choose(corner | {"low_plant_ft2": 0.0}, species=tall)[0])
    # where a city says 18 in, catmint (28) is out
    strict = {"setbacks": RULES.setbacks.model_copy(update={"triangle_plant_in": 18.0})}
    assert [*names(choose(bed(low_plant_ft2=40.0), rules=strict)[0])] == ["daylily"]


def test_what_needs_shade_is_not_put_into_a_hot_strip():
    shy = {name: SPECIES[name] for name in ("mondo_grass", "asiatic_jasmine")}
    chosen, problems = choose(bed(), planting="planted", zone="8a", species=shy)
    assert set(chosen["plant"]) == {""}
    assert (
        "no species in plants.toml fits: zone 8a, sun, 36 in tall at most, 24 in wide at most, sold in 1 gal"
        in problems["problem"].iloc[0]
    )
    assert "mondo_grass" in names(
        choose(bed(), planting="planted", zone="8a", species=shy, sun="shade")[0]
    )


@pytest.mark.parametrize(
    ("zone", "lives"),
    [("5b", False), ("6a", False), ("6b", True), ("6", False), ("8b", True), ("9a", False)],
)
def test_a_species_lives_in_its_zones_alone(zone, lives):
    # NC State AG-508-3 gives Aaron's beard zones 6b to 8; a book that names no half has both
    only = {"aarons_beard": SPECIES["aarons_beard"]}
    chosen, _ = choose(bed(), planting="planted", zone=zone, species=only)
    assert (set(chosen["plant"]) == {"aarons_beard"}) is lives


def test_nobody_looks_at_the_winter_where_no_zone_is_set():
    chosen, problems = choose(bed(), zone="")
    assert names(chosen) == {"catmint": "10 catmint, 3 gal"}
    assert problems[["file", "severity"]].to_numpy().tolist() == [["local.toml", "note"]]


def test_a_clients_wish_goes_first_where_it_fits():
    assert names(choose(bed(), plant="Daylilies")[0]) == {"daylily": "10 daylilies, 3 gal"}
    chosen, problems = choose(bed(), plant="roses")
    assert names(chosen) == {"catmint": "10 catmint, 3 gal"}
    assert problems["problem"].tolist() == [
        "the client likes 'roses', which is not in plants.toml; the first species that fits is taken"
    ]
    # one sentence for all of a client's beds
    _, problems = choose(bed(), bed("C1-curb-2"), plant="roses")
    assert problems["feature"].tolist() == ["beds C1-curb-1, C1-curb-2"]
    _, problems = choose(bed(), plant="low sumac")
    assert "low sumacs grow 84 in wide, and 32 in is the most there" in problems["problem"].iloc[0]
    _, problems = choose(bed(), plant="moss phlox")
    assert "moss phlox are not sold in 3 gal" in problems["problem"].iloc[0]


def test_an_own_price_is_added_with_warranty_and_margin():
    dear = SPECIES["daylily"].model_copy(update={"price_usd": {"3gal": 31.0}})
    chosen, _ = choose(bed(), species={"daylily": dear})
    # ten pots at $11 more, 10 % warranty, 45 % margin: 10 x 11 x 1.1 / 0.55 = $220.00
    assert chosen["extra_cents"].tolist() == [22000]
    cheap = SPECIES["daylily"].model_copy(update={"price_usd": {"3gal": 9.0}})
    assert choose(bed(), species={"daylily": cheap})[0]["extra_cents"].tolist() == [-22000]


def test_one_plant_is_one():
    chosen, _ = choose(bed(length=6.0), planting="accent", species={"daylily": SPECIES["daylily"]})
    assert names(chosen) == {"daylily": "1 daylily, 3 gal"}


def test_no_plants_are_no_rows():
    chosen, problems = choose_plants(
        empty_table(PLANTS), offer_beds(), answered(), species=SPECIES, rules=RULES, rates=RATES
    )
    assert chosen.empty
    assert problems.empty


def test_rows_join_the_places_of_the_plants():
    table = offer_beds(bed(), bed("C1-curb-2", length=24.0))
    plants = place_plants(table, rates=RATES)
    chosen, _ = choose_plants(plants, table, answered(), species=SPECIES, rules=RULES, rates=RATES)
    keys = ["offer_id", "bed_id", "planting", "is_front"]
    joined = plants.merge(chosen, on=keys, how="left", validate="many_to_one")
    assert joined["plant"].notna().all()
    assert (
        joined.groupby(keys).size().tolist()
        == chosen.set_index(keys)["plant_count"].sort_index().tolist()
    )
    # no plant hangs over the border of its bed
    assert (joined["spread_in"] / 24 <= joined["room_ft"] + 0.001).all()


def test_a_size_is_read_aloud():
    assert [size_words(size) for size in ("1gal", "5gal")] == ["1 gal", "5 gal"]
