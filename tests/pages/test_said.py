"""The words that map and calling sheet share."""

from __future__ import annotations

from scanner.ground.setting.cautions import SENTENCES, THINGS
from scanner.pages.said import USUAL, own_cautions
from tests.job.job_cases import local_rules


def test_each_usual_beginning_is_one_of_a_caution_that_is_still_told() -> None:
    told = [part for sentence in SENTENCES.values() for part in sentence.split("; ")]
    told.append(local_rules().locating)
    assert not [start for start in USUAL if not any(one.startswith(start) for one in told)]


def test_what_stands_at_one_bed_alone_is_told() -> None:
    rare = [SENTENCES[name] for name in ("roots", "removed", "ramp", "wildfire", "step out")]
    for sentence in (*rare, *THINGS.values()):
        assert own_cautions(f"{SENTENCES['curb']}; {sentence}") == [sentence]
    assert (
        own_cautions(
            "; ".join(
                SENTENCES[name] for name in ("right of way", "sight triangle", "curb", "wall")
            )
        )
        == []
    )
