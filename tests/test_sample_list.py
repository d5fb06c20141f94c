"""The list of the sample book: numbers that an owner would look at, and ten offers worked out anew."""

from __future__ import annotations

import math
from collections import defaultdict

import pandas as pd
import pytest
from scipy.stats import spearmanr

from scanner.pipeline import publish_scan, read_book, scan
from tests.house.renew import SAMPLE_BOOK, SAMPLE_DAY
from tests.recompute import differences, different_kinds, read_csv


@pytest.fixture(scope="module")
def found():
    return scan(read_book(SAMPLE_BOOK), today=SAMPLE_DAY)


@pytest.fixture(scope="module")
def folder(found, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sample")
    publish_scan(found, folder)
    return folder


def test_offers_of_every_kind_agree_with_an_arithmetic_of_their_own(folder):
    calls = read_csv(folder / "calls.csv")
    chosen = different_kinds(calls)
    assert len(chosen) >= 10
    assert len({call["finish"] for call in chosen}) > 1
    assert [text for call in chosen for text in differences(call, folder, SAMPLE_BOOK)] == []
    dearer = {**chosen[0], "price_usd": f"{float(chosen[0]['price_usd']) + 0.03:.2f}"}
    assert len(differences(dearer, folder, SAMPLE_BOOK)) >= 1  # three cents are seen


def test_rank_is_expected_profit_in_whole_cents_then_name(folder):
    calls = read_csv(folder / "calls.csv")
    keys = [(-round(float(call["expected_profit_usd"]) * 100), call["name"].casefold(), call["client_id"])
            for call in calls]  # fmt: skip
    assert keys == sorted(keys)
    assert [int(call["rank"]) for call in calls] == list(range(1, len(calls) + 1))


def test_a_call_opens_with_what_a_client_may_well_pay(found):
    listed = found.calls[found.calls["left_out"] == ""].merge(found.offers, on="offer_id")
    assert listed["price_over_annual"].median() <= 1.5
    assert spearmanr(listed["rank"], -listed["price_cents"]).statistic < 0.8
    # A minimum job would lead because nothing else counts, were most leads there
    at_minimum = listed["price_cents"] <= found.rates.minimum_job_usd.value * 100
    cheapest = defaultdict(list)
    for price in found.table("prices").query("is_lead").to_dict("records"):
        cheapest[price["client_id"]].append(price["price_cents"])
    is_choice = pd.Series([len(set(cheapest[client])) > 1 for client in listed["client_id_x"]])
    assert not (at_minimum & is_choice.to_numpy()).any()


def test_later_jobs_are_packed(found):
    limit = found.rules.job_limit_crew_days
    alone = found.table("prices").query("is_lead").set_index("offer_id")["crew_days"]
    for client_id, jobs in found.offers[found.offers["phase"] > 1].groupby("client_id"):
        beds = [bed for bed_ids in jobs["bed_ids"] for bed in bed_ids.split()]
        assert len(jobs) <= math.ceil(alone[beds].sum() / limit) + 1, client_id
