"""Proposed rates, beside the old ones and never over them."""

from __future__ import annotations

import tomllib

import pandas as pd
import pytest

from scanner.book.proposals import PROPOSED_FILE, write_proposals
from scanner.book.settings import read_rates
from scanner.calls.calibration import PROPOSAL_COLUMNS
from scanner.errors import BookError

PROPOSALS = pd.DataFrame(
    [
        (
            "dig_hand_hours_per_yd3",
            2.9145,
            2.6151,
            3.2482,
            1.943,
            1.5,
            1.401,
            1.602,
            1.346,
            1.672,
            5,
        ),
        ("mulch_usd_per_yd3", 45.6, 44.0, 47.1, 38.0, 1.2, 1.174, 1.227, 1.158, 1.239, 6),
    ],
    columns=[*PROPOSAL_COLUMNS],
)
OWN = """# our own rates
labor_usd_per_hour = 31  # since spring
mulch_usd_per_yd3 = { value = 38, low = 30, high = 44, source = "our supplier" }
lead_finish = "mulch"

[dig_hand_hours_per_yd3]
value = 1.943
low = 1.0
high = 3.0

[head_hours]
value = 0.4
"""


def write(folder, own=OWN):
    if own is not None:
        (folder / "rates.toml").write_text(own, encoding="utf-8")
    return write_proposals(folder, PROPOSALS, reason="jobs up to 2027-06-30")


def test_old_rates_stay_and_each_change_has_its_reason(tmp_path):
    path = write(tmp_path)
    assert path == tmp_path / PROPOSED_FILE
    assert (tmp_path / "rates.toml").read_text(encoding="utf-8") == OWN
    text = path.read_text(encoding="utf-8")
    assert (
        "# was 1.943: 5 jobs took 1.50 times the estimate (80 % interval 1.40 to 1.60); "
        "8 of 10 jobs lie between 1.35 and 1.67\n"
        "dig_hand_hours_per_yd3 = { value = 2.914, low = 2.615, high = 3.248, "
        'source = "jobs up to 2027-06-30" }\n'
    ) in text
    assert "labor_usd_per_hour = 31  # since spring" in text


def test_it_can_take_the_old_ones_place(tmp_path):
    write(tmp_path).rename(tmp_path / "rates.toml")
    rates, problems = read_rates(tmp_path / "rates.toml")
    assert problems.empty
    assert rates.dig_hand_hours_per_yd3.value == 2.914
    assert (rates.mulch_usd_per_yd3.low, rates.mulch_usd_per_yd3.high) == (44.0, 47.1)
    assert rates.labor_usd_per_hour.value == 31
    assert rates.head_hours.value == 0.4
    assert rates.lead_finish == "mulch"


@pytest.mark.parametrize("own", [None, "", "this is = not [toml"])
def test_without_rates_of_its_own_that_can_be_read(tmp_path, own):
    found = tomllib.loads(write(tmp_path, own).read_text(encoding="utf-8"))
    assert found.keys() == {"dig_hand_hours_per_yd3", "mulch_usd_per_yd3"}


def test_rates_that_cannot_be_carried_over_are_said(tmp_path):
    text = write(tmp_path, "this is = not [toml").read_text(encoding="utf-8")
    assert "copy its lines into rates.toml" in text


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "gone").write_text("a file")
    with pytest.raises(BookError, match="cannot be written"):
        write_proposals(tmp_path / "gone", PROPOSALS, reason="jobs")
