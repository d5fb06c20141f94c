"""Logs to try things on: calls as rows, and a folder that nobody may write to, root neither."""

from __future__ import annotations

import ctypes
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from shapely import Polygon, box

from scanner.calls.entry_kinds import CALL
from scanner.calls.log import open_log, read_season

DAY = date(2027, 3, 2)
CAP_DAC_OVERRIDE = 1


def calls_of(*rows: tuple[str, ...]) -> pd.DataFrame:
    """Calls as they come from a checked sheet; what a row leaves out is blank."""
    names = [name for name in CALL.columns if name != "price_cents"]
    filled = [(*row, *[""] * (len(names) - len(row))) for row in rows]
    calls = pd.DataFrame(filled, columns=names, dtype="str").assign(price_cents=0)
    return calls[[*CALL.columns]]


def record(folder: Path, *rows: tuple[str, ...], today: date = DAY):
    with open_log(folder, today=today) as log:
        return log.record(CALL, calls_of(*rows))


def stumble_over(folder: Path, *rows: tuple[str, ...], today: date = DAY) -> None:
    """Record calls, and let something go wrong before the end."""
    with open_log(folder, today=today) as log:
        log.record(CALL, calls_of(*rows))
        message = "stumbled"
        raise KeyError(message)


def keys_of(folder: Path) -> list[tuple[str, ...]]:
    """What is on record, as client, day and outcome."""
    calls = read_season(folder).calls
    return list(calls[[*CALL.key]].itertuples(index=False, name=None))


def stored_of(**shapes: Polygon | None) -> gpd.GeoDataFrame:
    """Beds as a scan hands them over; A_curb_1=None lies nowhere."""
    rows = [
        {"bed_id": name.replace("_", "-"), "client_id": name.split("_")[0], "along": name.split("_")[1],
         "area_ft2": 200.0, "last_seen": DAY.isoformat(), "built_on": ""}
        for name in shapes
    ]  # fmt: skip
    geometry = [shape or Polygon() for shape in shapes.values()]
    return gpd.GeoDataFrame(rows, geometry=geometry, crs="EPSG:4326")


def rows_of(beds: gpd.GeoDataFrame) -> pd.DataFrame:
    """The same beds as the log keeps them: shapes as bytes."""
    return pd.DataFrame(beds.drop(columns="geometry")).assign(shape=beds.geometry.to_wkb())


def square(lon: float = -98.0, lat: float = 41.0) -> Polygon:
    return box(lon, lat, lon + 0.0002, lat + 0.00001)


def job_of(job_id: str = "A-curb-1", **changes: object) -> pd.DataFrame:
    row = {
        "job_id": job_id, "client_id": "A", "bed_ids": "A-curb-1", "finish": "mulch", "method": "hand",
        "built_on": "2027-05-12", "area_ft2": 200.0, "quick_low_cents": 100_000,
        "quick_high_cents": 200_000, "sold_cents": 150_000, "invoiced_cents": 0, "note": "",
    }  # fmt: skip
    return pd.DataFrame([row | changes])


def task_of(job_id: str = "A-curb-1", **changes: object) -> pd.DataFrame:
    row = {
        "job_id": job_id, "task": "set edging", "rate_key": "set_edging_ft_per_hour*labor_usd_per_hour",
        "quantity": 58.0, "unit": "ft", "estimated_hours": 2.32, "actual_hours": float("nan"),
        "estimated_cents": 6496, "actual_cents": float("nan"),
    }  # fmt: skip
    return pd.DataFrame([row | changes])


def quote_of(quote_id: str = "Q2027-001", **changes: object) -> pd.DataFrame:
    row = {
        "quote_id": quote_id, "client_id": "A", "bed_ids": "A-curb-1", "finish": "mulch", "method": "hand",
        "area_ft2": 200.0, "quick_low_cents": 100_000, "quick_high_cents": 200_000, "price_cents": 150_000,
        "quoted_on": "2027-03-02", "good_until": "2027-04-01", "outcome": "", "ended_on": "", "why": "",
    }  # fmt: skip
    return pd.DataFrame([row | changes])


def quote_task_of(quote_id: str = "Q2027-001") -> pd.DataFrame:
    names = ["task", "rate_key", "quantity", "unit", "estimated_hours", "estimated_cents"]
    return task_of()[names].assign(quote_id=quote_id)


@contextmanager
def read_only_copy(folder: Path) -> Iterator[Path]:
    """Copy a folder to where nobody may write, root neither."""
    place = Path(tempfile.mkdtemp())
    copy = shutil.copytree(folder, place / "book")
    for path in (*copy.rglob("*"), copy, place):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        with bound_by_permissions():
            yield copy
    finally:
        for path in (place, copy, *copy.rglob("*")):
            path.chmod(0o755)
        shutil.rmtree(place)


@contextmanager
def bound_by_permissions() -> Iterator[None]:
    """
    Lay down, for the while, root's power to write whatever the permissions say.

    Only that one: becoming somebody else would lock root out of a clone that nobody else may
    enter, its own modules included. See ``man 7 capabilities``, CAP_DAC_OVERRIDE.
    """
    if os.geteuid() != 0:
        yield
        return
    if sys.platform != "linux":
        pytest.skip("root may write everywhere here")
    kernel = ctypes.CDLL(None)
    version_3_of_this_thread = (ctypes.c_uint32 * 2)(0x20080522, 0)
    held = (ctypes.c_uint32 * 6)()
    assert kernel.capget(version_3_of_this_thread, held) == 0
    fewer = (ctypes.c_uint32 * 6)(*held)
    fewer[0] &= ~(1 << CAP_DAC_OVERRIDE)
    assert kernel.capset(version_3_of_this_thread, fewer) == 0
    try:
        yield
    finally:
        kernel.capset(version_3_of_this_thread, held)
