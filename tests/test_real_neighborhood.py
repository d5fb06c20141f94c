"""
A real neighborhood: the plots, buildings and streets that the package momepy carries.

The data set ``bubenec`` is a piece of Prague's Bubeneč, stored in Web Mercator, where
areas read 2.4 times too large: a scan must not measure there. Counts and areas are worked
out here a second time in the European equal-area grid (EPSG:3035).
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from scanner.pages.summary import summarize
from scanner.pipeline import read_book, scan
from scanner.schema.documents import Scan
from scanner.units import M_PER_FT
from tests.real_town import BUBENEC

PAVEMENT_FT = 26.0
"""Width taken for every street: the data know centerlines only."""


EQUAL_AREA = "EPSG:3035"


def layer(name: str) -> gpd.GeoDataFrame:
    """Read a layer in its own grid."""
    return gpd.read_file(BUBENEC, layer=name)


def metric(shapes: gpd.GeoDataFrame) -> gpd.GeoSeries:
    """Give shapes in the equal-area grid [m]."""
    return shapes.geometry.to_crs(EQUAL_AREA)


@pytest.fixture(scope="module")
def plots() -> gpd.GeoDataFrame:
    shapes = layer("plots")
    return shapes.assign(client_id=[f"P{at + 1:03d}" for at in range(len(shapes))])


@pytest.fixture(scope="module")
def found(tmp_path_factory, plots) -> Scan:
    """Make a book of the data and scan it."""
    folder = tmp_path_factory.mktemp("bubenec")
    (folder / "sites").mkdir()
    columns = {"client_id": plots["client_id"]}
    gpd.GeoDataFrame(columns, geometry=plots.geometry, crs=plots.crs).assign(
        kind="property"
    ).to_file(folder / "sites" / "plots.gpkg")
    houses, streets = layer("buildings"), layer("streets")
    houses[["geometry"]].assign(kind="house").to_file(folder / "sites" / "houses.gpkg")
    streets[["geometry"]].assign(kind="street_centerline", pavement_ft=PAVEMENT_FT).to_file(
        folder / "sites" / "streets.gpkg"
    )
    # No drive is known on any plot; guessed ones would take lawn that the check counts.
    (folder / "local.toml").write_text("default_opening_ft = 0\n", encoding="utf-8")
    rows = "".join(f"{client},Somebody\n" for client in plots["client_id"])
    (folder / "clients.csv").write_text(f"client_id,name\n{rows}", encoding="utf-8")
    return scan(read_book(Path(folder)), today=date(2026, 2, 16))


def test_nothing_is_wrong_with_it_but_what_is_said(found, plots):
    assert (found.problems["severity"] == "note").all()
    total = summarize(found)
    assert total["clients"] == len(plots)
    assert total["scanned"] + total["not_drawn"] == len(plots)
    assert total["beds"] + total["skipped"] == len(found.beds)
    assert json.loads(json.dumps(total["skipped_by_reason"]))


def test_outlines_have_the_areas_of_an_equal_area_grid(found, plots):
    outlines = found.table("lots").set_index("client_id")["outline"]
    ours_m2 = shapely.area(outlines.loc[plots["client_id"]].to_numpy()) * M_PER_FT**2
    # A border moves by a step of the grid at most, a thousandth of a foot.
    drawn = metric(plots)
    off_m2 = np.abs(ours_m2 - drawn.area.to_numpy())
    assert (off_m2 <= 1e-5 * drawn.area.to_numpy() + 0.0003 * drawn.length.to_numpy()).all()
    assert plots.area.sum() / ours_m2.sum() > 2  # what Web Mercator would have said


def test_inferred_lawns_are_plot_less_buildings_less_pavement(found, plots):
    buildings = shapely.union_all(metric(layer("buildings")).to_numpy())
    streets = metric(layer("streets"))
    pavement = streets.buffer(PAVEMENT_FT * M_PER_FT / 2, cap_style="flat").union_all()
    open_m2 = metric(plots).difference(buildings).difference(pavement).area.to_numpy()
    lots = found.table("lots").set_index("client_id").loc[plots["client_id"]]
    inside = shapely.intersection(lots["lawn"].to_numpy(), lots["outline"].to_numpy())
    ours_m2 = shapely.area(inside) * M_PER_FT**2
    known = (lots["lawn_source"] == "inferred").to_numpy()
    assert known.sum() > len(plots) / 2
    # Slivers narrower than a seam are no turf, so a little less is right, more is not.
    assert np.allclose(ours_m2[known], open_m2[known], rtol=5e-3, atol=1.0)


def test_beds_are_apart_and_inside_their_lawns(found):
    lawn = found.table("lots").set_index("client_id")["lawn"]
    beds = found.table("beds")
    shapes = beds["geometry"].to_numpy()
    outside = shapely.difference(shapes, lawn.loc[beds["client_id"]].to_numpy())
    assert shapely.area(outside).max(initial=0) < 0.05
    for _, own in beds.groupby("client_id"):
        ground = own["geometry"].to_numpy()
        united_ft2 = shapely.area(shapely.union_all(ground))
        assert united_ft2 == pytest.approx(shapely.area(ground).sum(), abs=0.1)


def test_every_kept_bed_is_priced(found):
    kept = found.beds[found.beds["skip_reason"] == ""]
    assert len(kept) > 0
    assert set(kept["bed_id"]) <= set(found.table("prices")["offer_id"])
    assert (found.beds.loc[found.beds["along"] == "curb", "edge_source"] == "centerline").all()
