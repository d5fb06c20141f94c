"""The rate book and the local rules: standard values, a firm's own, faults one by one."""

from __future__ import annotations

import re

import pytest

from scanner.book.settings import read_rates, read_rules
from scanner.schema.documents import LocalRules, Rate, RateBook, Setbacks
from scanner.schema.local_rules import QuoteTerms


def rates(tmp_path, text):
    path = tmp_path / "rates.toml"
    path.write_text(text)
    return read_rates(path)


def rules(tmp_path, text):
    path = tmp_path / "local.toml"
    path.write_text(text)
    return read_rules(path)


def test_every_standard_rate_has_a_source():
    book, problems = read_rates(None)
    assert problems.empty
    for name in RateBook.model_fields:
        rate = getattr(book, name)
        if isinstance(rate, Rate):
            assert len(rate.source) > 8, name


def test_standard_rates_are_those_of_the_reference():
    # 19.66 x 45.65/32.07 = 27.985 (BLS, Employer Costs for Employee Compensation, USDL-25-1358)
    book, _ = read_rates(None)
    assert book.labor_usd_per_hour.value == pytest.approx(19.66 * 45.65 / 32.07, abs=0.02)
    # 8 h over 3.5 m3 of medium soil a worker-day, 5 of soft and 3 of hard; 8.5 m3 barrowed to 20 m and
    # 4.5 to 150 m; 1 yd3 = 0.764555 m3 (ILO/ASIST Technical Brief 2, 1998, as restated)
    yd3 = 8 * 0.764555
    dig, barrow = book.dig_hand_hours_per_yd3, book.barrow_hours_per_yd3
    assert (dig.value, dig.low, dig.high) == pytest.approx((yd3 / 3.5, yd3 / 5, yd3 / 3), abs=0.01)
    assert (barrow.value, barrow.high) == pytest.approx((yd3 / 8.5, yd3 / 4.5), abs=0.01)
    # 6 x 12 x 2 ft = 144 ft3 = 5.333 yd3 (miragetrailers.com)
    assert book.trailer_volume_yd3.value == pytest.approx(144 / 27, abs=0.01)
    # 83 ft2 a ton at 3 in (supplier chart, pea gravel)
    assert book.gravel_ton_per_yd3.value == pytest.approx(108 / 83, abs=0.01)
    # 12 of 20 clients reached in three tries, nobody tried again who was reached
    missed = 1.0
    for n in (1, 2, 3):
        hit, miss = (getattr(book, f"prior_{end}_{n}_count").value for end in ("reached", "missed"))
        missed *= miss / (hit + miss)
    assert 20 * (1 - missed) == pytest.approx(12)
    assert (book.range_drawn_share.low, book.range_drawn_share.high) == (-0.25, 0.40)
    assert book.lead_finish == "accent"


def test_every_standard_rule_has_a_source():
    local, problems = read_rules(None)
    assert problems.empty
    groups = {"setbacks", "company", "quote", "backgrounds", "sources"}
    keys = {name for name in LocalRules.model_fields if name not in groups}
    keys |= {f"setbacks.{name}" for name in Setbacks.model_fields}
    keys |= {f"quote.{name}" for name in QuoteTerms.model_fields}
    assert keys <= local.sources.keys()
    assert all(local.sources.values())


def test_every_setting_has_words_for_the_reader():
    for model in (RateBook, LocalRules, Setbacks, QuoteTerms):
        for name, field in model.model_fields.items():
            if name in ("setbacks", "company", "quote", "backgrounds", "sources"):
                continue
            assert field.title, name
            assert field.title != name
            # the unit stands beside, and a sentence goes on behind
            assert not re.search(r"_|\.$|\b(usd|ft2|yd3)\b", field.title), name


def test_every_figure_has_bounds_that_hold_what_is_usual():
    book, rules_read = read_rates(None)[0], read_rules(None)[0]
    records = [
        *((name, getattr(book, name), field) for name, field in RateBook.model_fields.items()),
        *(
            (name, getattr(rules_read, name), field)
            for name, field in LocalRules.model_fields.items()
        ),
        *(
            (name, getattr(rules_read.setbacks, name), field)
            for name, field in Setbacks.model_fields.items()
        ),
    ]
    figures = [record for record in records if isinstance(record[1], Rate | float)]
    assert len(figures) > 90
    for name, came, field in figures:
        least, most = (field.json_schema_extra[end] for end in ("minimum", "maximum"))
        value, high = (came.value, came.high) if isinstance(came, Rate) else (came, came)
        assert least <= value <= high <= most, name
        assert least < most


def test_own_spread_alone_keeps_the_value(tmp_path):
    book, problems = rates(tmp_path, "tip_fee_usd_per_ton = { low = 10, high = 50 }\n")
    assert problems.empty
    assert book.tip_fee_usd_per_ton == Rate(
        value=30, low=10, high=50, source="this book's rates.toml"
    )


def test_a_bare_number_widens_the_spread(tmp_path):
    book, problems = rates(tmp_path, "crew_count = 6\n")
    assert problems.empty
    assert book.crew_count == Rate(value=6, low=2, high=6, source="this book's rates.toml")


def test_a_table_may_say_all(tmp_path):
    text = 'mulch_usd_per_yd3 = { value = 36, low = 30, high = 44, source = "price list" }\n'
    book, problems = rates(tmp_path, text)
    assert problems.empty
    assert book.mulch_usd_per_yd3 == Rate(value=36, low=30, high=44, source="price list")


@pytest.mark.parametrize(
    ("line", "key", "reason"),
    [
        ("gross_margin_share = 1", "gross_margin_share", "value is 1"),
        ("gross_margin_share = 45", "gross_margin_share", "from 0 to 0.95"),
        ("labor_usd_per_hour = -28", "labor_usd_per_hour", "value is -28"),
        ("labor_usd_per_hour = 0.2", "labor_usd_per_hour", "from 0.28"),
        ("labor_usd_per_hour = 2801", "labor_usd_per_hour", "to 2800"),
        ("spread_mulch_yd3_per_hour = 0", "spread_mulch_yd3_per_hour", "value is 0"),
        ('mulch_usd_per_yd3 = "cheap"', "mulch_usd_per_yd3", "'cheap'"),
        ("mulch_usd_per_yd3 = true", "mulch_usd_per_yd3", "'True'"),
        ("mulch_usd_per_yd3 = nan", "mulch_usd_per_yd3", "'nan'"),
        ("tip_fee_usd_per_ton = {value=30,low=60,high=9}", "tip_fee_usd_per_ton", "low 60"),
        ("tip_fee_usd_per_ton = {value=30,about=60}", "tip_fee_usd_per_ton", "'about'"),
        ("mulch_usd_per_yd3 = {value=30,source=3}", "mulch_usd_per_yd3", "'3'"),
        ('lead_finish = {value="gravel",low=1}', "lead_finish", "'low' stands in it"),
        ("mulch_usd_per_yd = 38", "mulch_usd_per_yd", "no setting has the name"),
        ('lead_finish = "grass"', "lead_finish", "'grass'"),
        ("plant_size = 3", "plant_size", "'3' came; '1gal', '3gal' or '5gal' is allowed"),
    ],
)
def test_faulty_rate_is_told_and_the_standard_used(tmp_path, line, key, reason):
    standard, _ = read_rates(None)
    book, problems = rates(tmp_path, f"{line}\ncrew_count = 3\n")
    assert problems["feature"].tolist() == [key]
    assert problems["file"].tolist() == ["rates.toml"]
    assert reason in problems.loc[0, "problem"]
    assert problems.loc[0, "remedy"]
    assert getattr(book, key, None) == getattr(standard, key, None)
    assert book.crew_count.value == 3


@pytest.mark.parametrize(
    "line", ["tip_fee_usd_per_ton = 0", "mulch_delivery_usd = 0", "minimum_job_usd = 0"]
)
def test_nothing_is_a_price_too(tmp_path, line):
    _, problems = rates(tmp_path, line)
    assert problems.empty


def test_misspelt_name_is_met_with_the_nearest(tmp_path):
    _, problems = rates(tmp_path, "mulch_usd_per_yard = 38\n")
    assert problems.loc[0, "remedy"] == "write mulch_usd_per_yd3, or take the line out"


@pytest.mark.parametrize(
    "raw", [b"crew_count = \n", b"\xff\xfe", b"crew_count = 2\ncrew_count = 3\n"]
)
def test_unreadable_file_is_one_fault_and_all_standard(tmp_path, raw):
    path = tmp_path / "rates.toml"
    path.write_bytes(raw)
    book, problems = read_rates(path)
    assert len(problems) == 1
    assert "standard values" in problems.loc[0, "problem"]
    assert book == read_rates(None)[0]


def test_own_rules_carry_their_source(tmp_path):
    text = 'drives_known = "yes"\nbed_depth_ft = 5\nhouse_faces = ["front", "side"]\n[setbacks]\nhydrant_ft = 4\n[company]\nname = "Meadow Fork Lawns"\n'
    local, problems = rules(tmp_path, text)
    assert problems.empty
    assert local.drives_known == "yes"
    assert local.bed_depth_ft == 5
    assert local.house_faces == ("front", "side")
    assert local.setbacks.hydrant_ft == 4
    assert local.company.name == "Meadow Fork Lawns"
    assert local.sources["bed_depth_ft"] == "this book's local.toml"
    assert local.sources["setbacks.trunk_ft"].startswith("Seattle")


@pytest.mark.parametrize(
    ("text", "key", "reason"),
    [
        ("bed_depth_ft = 1", "bed_depth_ft", "shallower than the minimum"),
        ("min_depth_ft = 5", "min_depth_ft", "shallower than the minimum"),
        ("bed_depth_ft = 30", "bed_depth_ft", "value is 30; from 0.05 to 20"),
        ("gap_ft = 0", "gap_ft", "value is 0"),
        ('drives_known = "maybe"', "drives_known", "'maybe'"),
        ('mower_ft = "four"', "mower_ft", "'four'"),
        ('house_faces = ["roof"]', "house_faces", "'roof'"),
        ('house_faces = "front"', "house_faces", "list of words"),
        ('offer_kinds = ["curb", "curb"]', "offer_kinds", "twice"),
        ('kind_order = ["curb"]', "kind_order", "offer_kinds names house"),
        ("[setbacks]\nhydrant_ft = -3", "setbacks.hydrant_ft", "value is -3"),
        ("[setbacks]\nhydrants_ft = 3", "setbacks.hydrants_ft", "no setting"),
        ("[setbacks]\njog_ft = 6", "setbacks.jog_ft", "under [setbacks]"),
        ('[backgrounds]\nstreets_url = "javascript:x"', "backgrounds.streets_url", "https://"),
    ],
)
def test_faulty_rule_is_told_and_the_standard_used(tmp_path, text, key, reason):
    local, problems = rules(tmp_path, text)
    assert problems["feature"].tolist() == [key]
    assert reason in problems.loc[0, "problem"]
    assert problems.loc[0, "remedy"]
    standard, _ = read_rules(None)
    assert local.model_dump(exclude={"sources"}) == standard.model_dump(exclude={"sources"})


def test_rule_under_the_wrong_heading_says_where_it_belongs(tmp_path):
    _, problems = rules(tmp_path, "[setbacks]\njog_ft = 6")
    assert (
        problems.loc[0, "remedy"] == "move the line jog_ft to the top of the file, above every [ ]"
    )
