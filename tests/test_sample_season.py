"""The sample's log is what its season leaves, typed command by command."""

from __future__ import annotations

import runpy
from dataclasses import fields
from pathlib import Path

import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from scanner.calls.log import begin_log, read_season
from scanner.calls.log.file import LOG_FILE
from scanner.errors import LogError
from scanner.schema.documents import Season
from tests.house.renew import ROOT

SCRIPT = ROOT / "sample_data" / "make_season.py"
NOT_TYPED = {"stored", "listed", "alike", "if_damaged"}
"""What a scan notes, of which the sample's log has some, and what is said of the file itself."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Season:
    folder = tmp_path_factory.mktemp("kept")
    begin_log(folder, (ROOT / "sample_data" / "season" / "log.sql").read_text(encoding="utf-8"))
    assert (folder / LOG_FILE).stat().st_mode & 0o777 == 0o600
    return read_season(folder)


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Season:
    play = runpy.run_path(str(SCRIPT))["play_season"]
    return read_season(play(tmp_path_factory.mktemp("played")))


@pytest.mark.parametrize("name", [one.name for one in fields(Season) if one.name not in NOT_TYPED])
def test_what_was_typed_stands(kept: Season, played: Season, name: str) -> None:
    told, made = getattr(kept, name), getattr(played, name)
    if not isinstance(told, pd.DataFrame):
        assert told == made
        return
    # Typed in another minute; and a price that was said stays when today's program works out a few dollars more
    told, made = (table.drop(columns="recorded_at", errors="ignore") for table in (told, made))
    assert_frame_equal(told, made, rtol=0.05, check_exact=False)
    assert len(told) or name in {"letters", "notes", "remarks"}


def test_beds_that_were_asked_for_keep_their_names(kept: Season, played: Season) -> None:
    ids = {*played.jobs["client_id"], *played.quotes["client_id"]}
    made = played.stored[played.stored["client_id"].isin(ids)].reset_index(drop=True)
    columns = ["bed_id", "client_id", "along", "area_ft2", "last_seen", "built_on"]
    assert_frame_equal(kept.stored[columns], made[columns], rtol=0.05, check_exact=False)
    assert kept.stored["built_on"].gt("").sum() == 1


def test_a_log_that_breaks_off_is_none(tmp_path: Path) -> None:
    text = (ROOT / "sample_data" / "season" / "log.sql").read_text(encoding="utf-8")
    with pytest.raises(LogError, match="cannot be used"):
        begin_log(tmp_path, text.replace("COMMIT;", "no statement;"))
    assert read_season(tmp_path).calls.empty
