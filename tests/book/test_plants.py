"""plants.toml: the standard species, a firm's own before them, faults one by one."""

from __future__ import annotations

from pathlib import Path

import pytest

from scanner.book.plants import read_plants
from scanner.schema.plant_list import Plant

TEMPLATE = Path(__file__).parents[2] / "shared" / "templates" / "plants.toml"

ROSE = {
    "one": '"rose"', "many": '"roses"', "botanical": '"Rosa"', "height_in": "30", "spread_in": "24",
    "zones": '"5-9"', "sun": '["sun"]', "sizes": '["3gal"]', "source": '"a nursery"',
}  # fmt: skip


def read(tmp_path, text):
    path = tmp_path / "plants.toml"
    path.write_text(text)
    return read_plants(path)


def rose(**changes):
    return "[rose]\n" + "".join(
        f"{name} = {value}\n" for name, value in (ROSE | changes).items() if value
    )


def test_every_standard_species_is_low_enough_to_be_read_of_and_has_a_source():
    plants, problems = read_plants(None)
    assert problems.empty
    assert 24 <= len(plants) <= 36
    assert len({plant.botanical for plant in plants.values()}) == len(plants)
    for name, plant in plants.items():
        assert len(plant.source) > 20, name
        assert plant.height_in <= 60, name


# Kwantlen Polytechnic University: catmint 16-28 x 24-39 in, daylily 8-16 x 12-24; U-Mich: moss phlox 3-6 x 12-24;
# Arizona State: creeping juniper 4-24 x 144-360. Height is the top, width the middle
@pytest.mark.parametrize(
    ("name", "tall", "wide"),
    [
        ("catmint", 28, (24 + 39) / 2),
        ("daylily", 16, 18),
        ("moss_phlox", 6, 18),
        ("creeping_juniper", 24, 252),
    ],
)
def test_figures_are_those_published(name, tall, wide):
    plant = read_plants(None)[0][name]
    assert (plant.height_in, plant.spread_in) == (tall, int(wide))


def test_own_species_come_first_and_a_standard_one_is_changed_by_a_line(tmp_path):
    plants, problems = read(
        tmp_path, rose() + '[daylily]\nprice_usd = { 1gal = 9.5 }\n[catmint]\noffered = "no"\n'
    )
    assert problems.empty
    assert [*plants][:2] == ["rose", "daylily"]
    assert "catmint" not in plants
    assert (plants["daylily"].price_usd, plants["daylily"].many) == ({"1gal": 9.5}, "daylilies")
    assert plants["rose"] == Plant(
        one="rose", many="roses", botanical="Rosa", height_in=30, spread_in=24, zones="5-9", sun=("sun",),
        sizes=("3gal",), source="a nursery",
    )  # fmt: skip


def test_an_own_species_without_a_source_has_the_file(tmp_path):
    assert read(tmp_path, rose(source=""))[0]["rose"].source == "this book's plants.toml"


@pytest.mark.parametrize(
    ("changes", "problem", "remedy"),
    [
        ({"many": ""}, "many is missing; the species is left out", 'write many: as "daylilies"'),
        ({"height_in": '"3 ft"'}, "height_in: '3 ft' came; the", "write height_in: a number, grown up with its flower stalks"),
        ({"height_in": "0"}, "height_in: value is 0; from 0.5 to 600 is allowed; the", "mind the unit that the name ends in"),
        ({"zones": '"9-3"'}, "zones: zones '9-3' came; zones from 1 to 13 are allowed", 'write zones as "3-9", "6b-8" or "3 up"'),
        ({"zones": '"14 up"'}, "zones: zones '14 up' came", 'write zones as "3-9", "6b-8" or "3 up"'),
        ({"zones": '"warm"'}, "zones: zones 'warm' came", 'write zones as "3-9", "6b-8" or "3 up"'),
        ({"sun": '["noon"]'}, "sun: 'noon' came", 'write sun: a list of "sun", "part", "shade"'),
        ({"sun": "[]"}, "sun: '[]' came", 'write sun: a list of "sun", "part", "shade"'),
        ({"sizes": '["2gal"]'}, "sizes: '2gal' came", 'write sizes: a list of "1gal", "3gal", "5gal"'),
        ({"price_usd": "{ 1gal = -2 }"}, "price_usd: '-2' came", "write price_usd: own prices, as { 1gal = 9.5 }"),
        ({"price_usd": "{ 1gal = nan }"}, "price_usd: 'nan' came", "write price_usd: own prices, as { 1gal = 9.5 }"),
        ({"flat_count": "0"}, "flat_count: value is 0; from 1 to 500 is allowed", "mind the unit"),
        ({"colour": '"red"'}, "colour is nothing that a species has", "take the line out; one, many"),
    ],
)  # fmt: skip
def test_a_faulty_species_is_listed_and_left_out(tmp_path, changes, problem, remedy):
    plants, problems = read(tmp_path, rose(**changes))
    assert "rose" not in plants
    assert problems[["file", "feature", "severity"]].to_numpy().tolist() == [
        ["plants.toml", "rose", "fault"]
    ]
    assert problems["problem"].iloc[0].startswith(problem)
    assert problems["remedy"].iloc[0].startswith(remedy)
    assert len(plants) == len(read_plants(None)[0])


def test_a_faulty_line_of_a_standard_species_leaves_it_as_it_was(tmp_path):
    plants, problems = read(tmp_path, "[daylily]\nheight_in = 9000\n")
    assert plants["daylily"] == read_plants(None)[0]["daylily"]
    assert problems["problem"].iloc[0].endswith("; the standard species stands")


def test_what_is_no_species_and_no_toml_are_told(tmp_path):
    _, problems = read(tmp_path, "daylily = 3\n")
    assert problems["problem"].tolist() == [
        "'3' came where a species belongs; the standard species stands"
    ]
    plants, problems = read(tmp_path, "[daylily\n")
    assert len(plants) == len(read_plants(None)[0])
    assert "the file cannot be read" in problems["problem"].iloc[0]


def test_the_template_changes_nothing_until_it_is_filled_in(tmp_path):
    assert read_plants(TEMPLATE)[0] == read_plants(None)[0]
    filled = "\n".join(
        line.removeprefix("# ") if line.startswith(("# [", "# price")) or " = " in line else line
        for line in TEMPLATE.read_text().splitlines()
    )
    plants, problems = read(tmp_path, filled)
    assert problems.empty
    assert plants["dwarf_fountain_grass"].many == "dwarf fountain grasses"


def test_a_zone_of_local_toml_is_written_as_the_map_has_it(tmp_path):
    from scanner.book.settings import read_rules  # noqa: PLC0415

    path = tmp_path / "local.toml"
    path.write_text('zone = "5B"\nstate = "Ne"\nholidays = ["soon"]\n')
    rules, problems = read_rules(path)
    assert (rules.zone, rules.state, rules.holidays) == ("", "", ())
    assert problems["remedy"].tolist() == [
        "write days as [2026-04-24]",
        'write two capital letters as "NE"',
        'write a zone as "5" or "5b"',
    ]
