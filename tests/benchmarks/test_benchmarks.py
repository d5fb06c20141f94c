"""The benchmarks measure what they say: suburbs as promised, and programs that agree."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from tests.benchmarks import analyst, run, stages
from tests.benchmarks.suburb import FINE_VERTICES, make_suburb

LOTS = 130  # two towns, the second hardly begun
Making = Callable[..., Path]


@pytest.fixture(scope="module")
def make(tmp_path_factory: pytest.TempPathFactory) -> Making:
    def making(*, lots: int = LOTS, **asked: object) -> Path:
        folder = tmp_path_factory.mktemp("suburb") / "book"
        make_suburb(folder, lots=lots, **asked)
        return folder

    return making


@pytest.fixture(scope="module")
def suburb(make: Making) -> Path:
    return make(file_format="parquet")


def layer(book: Path, name: str) -> gpd.GeoDataFrame:
    path = next((book / "sites").glob(f"{name}.*"))
    return gpd.read_parquet(path) if path.suffix == ".parquet" else gpd.read_file(path)


def test_a_suburb_has_the_clients_asked_for_each_on_a_lot_of_his_own(suburb):
    clients = pd.read_csv(suburb / "clients.csv", dtype=str)
    owners = layer(suburb, "lots")["client_id"]
    walked = pd.read_csv(suburb / "measured.csv", dtype=str)["client_id"]
    assert len(clients) == clients["client_id"].nunique() == clients["phone"].nunique() == LOTS
    assert owners.is_unique
    assert {*owners, *walked} == {*clients["client_id"]}
    assert {*layer(suburb, "yards")["client_id"].dropna()} <= {*owners}


def test_its_pavement_is_one_polygon_and_its_shapes_are_sound(suburb):
    layers = [layer(suburb, path.stem) for path in (suburb / "sites").iterdir()]
    assert all(features.is_valid.all() for features in layers)
    streets = layer(suburb, "streets")
    curbed = streets[(streets["kind"] == "street") & (streets["curbed"] == "yes")]
    assert [*curbed.geom_type] == ["Polygon"]
    # Two towns of 14,266 ft of curb, a vertex each 8 ft
    assert curbed.geometry.count_coordinates().sum() > 2 * 14_266 / 8


def test_some_lawns_are_traced_finely(suburb):
    vertices = layer(suburb, "lawns").geometry.count_coordinates()
    assert (vertices > FINE_VERTICES).sum() >= LOTS / 50


def test_every_format_holds_the_same_and_so_does_the_same_seed(make, suburb):
    for book in (make(file_format="geojson"), make(file_format="fgb")):
        assert (book / "clients.csv").read_bytes() == (suburb / "clients.csv").read_bytes()
        for path in (suburb / "sites").iterdir():
            ours, theirs = (layer(one, path.stem) for one in (suburb, book))
            there = {shape.normalize().wkb for shape in theirs.geometry}
            assert {shape.normalize().wkb for shape in ours.geometry} == there


def test_with_gaps_no_house_touches_a_lawn(make, suburb):
    apart = make(lots=LOTS // 2, file_format="parquet", gaps=True)
    assert share_of_houses_on_lawns(suburb) > 0.1
    assert share_of_houses_on_lawns(apart) < 0.05


def share_of_houses_on_lawns(book: Path) -> float:
    houses, lawns = layer(book, "buildings"), layer(book, "lawns")
    touching, _ = lawns.sindex.query(houses.geometry, predicate="dwithin", distance=2e-8)
    return len(np.unique(touching)) / len(houses)


def test_floor_and_analyst_agree(suburb, capsys):
    floor = subprocess.run(
        [sys.executable, "tests/benchmarks/floor.py", str(suburb)],
        check=True, capture_output=True, encoding="utf-8", cwd=Path(__file__).parents[2],
    )  # fmt: skip
    theirs = {
        row[0]: float(row[1].replace(",", "")) for row in map(str.split, floor.stdout.splitlines())
    }
    analyst.main(suburb)
    rows = map(str.split, capsys.readouterr().out.splitlines()[2:])
    ours = {along: float(area_ft2) for along, _, area_ft2 in rows}
    assert ours == pytest.approx(theirs, rel=2e-3)
    assert min(ours.values()) > LOTS * 100


def test_costs_count_the_processes_that_a_command_starts():
    work = "held = bytearray([1]) * 80_000_000; sum(range(20_000_000))"
    starter = f"import subprocess, sys; subprocess.run([sys.executable, '-c', '{work}'])"
    cost = run.measure([sys.executable, "-c", starter])
    assert 0.1 < cost.processor < 2 * cost.wall + 0.5
    assert cost.mib > 70


def test_stages_are_named_by_the_verb_that_the_joining_modules_call():
    code = compile("raise LookupError", str(stages.SCANNER / "job" / "prices.py"), "exec")
    outer = compile("exec(code)", str(stages.SCANNER / "pipeline.py"), "exec")
    with pytest.raises(LookupError) as caught:
        exec(outer, {"code": code})  # noqa: S102 - frames of modules that need not be there
    assert stages.stage_of(caught.traceback[-1].frame.raw) == "job.prices.<module>"
    assert stages.stage_of(caught.traceback[-2].frame.raw) == "pipeline.<module>"
