"""What the log says as a whole: its tables as the rest of the program reads them."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.calls.entries import fold_answers, fold_calls
from scanner.calls.log.file import Store, open_to_read
from scanner.calls.log.rows import STANDING
from scanner.calls.log.visits import edge_entries, visit_entries
from scanner.calls.sales import SALE_COLUMNS, count_sales
from scanner.calls.visits import count_as_calls, fold_edges, fold_visits
from scanner.schema.documents import Season
from scanner.schema.log_tables import (
    ANSWERS,
    CALL_LOG,
    JOB_TASKS,
    JOBS,
    LISTED,
    MEASUREMENTS,
    STORED_BEDS,
    VISITS,
)
from scanner.schema.tables import check_table, empty_table

WGS84 = "EPSG:4326"


def read_season(folder: Path) -> Season:
    """
    Read what a book's log knows; nothing is written.

    Parameters
    ----------
    folder
        The book's folder.

    Returns
    -------
    season
        Calls, visits, answers, beds and jobs; empty tables where there is no log yet.

    Raises
    ------
    LogError
        If the file is newer than this program, damaged or foreign.

    Examples
    --------
    >>> len(read_season(Path("a book without a log")).calls)
    0
    """
    with open_to_read(folder) as store:
        return NO_SEASON if store is None else season_of(store)


def read_listed(folder: Path) -> pd.DataFrame:
    """
    Read what the last scan offered.

    Parameters
    ----------
    folder
        The book's folder.

    Returns
    -------
    listed
        Table `LISTED`; empty where no scan is on record.

    Raises
    ------
    LogError
        If the file is newer than this program, damaged or foreign.
    """
    with open_to_read(folder) as store:
        # A log of the first version knows no lists yet
        if store is None or not store.rows("SELECT 1 FROM sqlite_master WHERE name = 'listed'"):
            return empty_table(LISTED)
        names = [*LISTED.columns]
        rows = store.rows(f"SELECT {', '.join(names)} FROM listed ORDER BY offer_id")  # noqa: S608
        return check_table(pd.DataFrame(rows, columns=names), LISTED)


def read_call_entries(folder: Path) -> pd.DataFrame:
    """
    Read every entry about a call, to tell what of a list is on record.

    Parameters
    ----------
    folder
        The book's folder.

    Returns
    -------
    entries
        Columns of `CALL_LOG`, those that were taken back left out.

    Raises
    ------
    LogError
        If the file is newer than this program, damaged or foreign.
    """
    with open_to_read(folder) as store:
        return NO_SEASON.calls if store is None else call_entries(store)


def season_of(store: Store) -> Season:
    """
    Read what an open log knows.

    Parameters
    ----------
    store
        An open log.

    Returns
    -------
    season
        Calls, visits, answers, beds and jobs.
    """
    jobs, job_tasks = _jobs(store)
    visits = fold_visits(visit_entries(store))
    calls = count_sales(fold_calls(call_entries(store)), _sales(store, jobs))
    return Season(
        calls=check_table(count_as_calls(calls, visits), CALL_LOG),
        answers=check_table(fold_answers(answer_entries(store)), ANSWERS),
        beds=_beds(store, jobs),
        jobs=jobs,
        job_tasks=job_tasks,
        visits=check_table(visits, VISITS),
        measurements=check_table(fold_edges(edge_entries(store)), MEASUREMENTS),
    )


def call_entries(store: Store) -> pd.DataFrame:
    """
    List every entry about a call that was not taken back.

    Parameters
    ----------
    store
        An open log.

    Returns
    -------
    entries
        Columns of `CALL_LOG`, in the order of recording.
    """
    names = [*CALL_LOG.columns]
    query = f"SELECT {', '.join(names)} FROM calls JOIN entries USING (entry_id) WHERE {STANDING} ORDER BY 1"  # noqa: S608
    return pd.DataFrame(store.rows(query), columns=names)


def answer_entries(store: Store) -> pd.DataFrame:
    """
    List every answer that was not taken back.

    Parameters
    ----------
    store
        An open log.

    Returns
    -------
    entries
        Columns of `ANSWERS`, in the order of recording.
    """
    names = [*ANSWERS.columns]
    query = f"SELECT {', '.join(names)} FROM answers WHERE {STANDING} ORDER BY entry_id"  # noqa: S608
    return pd.DataFrame(store.rows(query), columns=names)


def _jobs(store: Store) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Take the newest entry of each job."""
    names, task_names = [*JOBS.columns], [name for name in JOB_TASKS.columns if name != "job_id"]
    newest = f"SELECT max(entry_id) FROM jobs WHERE {STANDING} GROUP BY job_id"  # noqa: S608
    jobs = store.rows(
        f"SELECT {', '.join(names)} FROM jobs WHERE entry_id IN ({newest}) ORDER BY job_id"  # noqa: S608
    )
    tasks = store.rows(
        f"SELECT job_id, {', '.join(task_names)} FROM job_tasks JOIN jobs USING (entry_id) "  # noqa: S608
        f"WHERE entry_id IN ({newest}) ORDER BY job_id, place"
    )
    return (
        check_table(pd.DataFrame(jobs, columns=names), JOBS),
        check_table(pd.DataFrame(tasks, columns=["job_id", *task_names]), JOB_TASKS),
    )


def _sales(store: Store, jobs: pd.DataFrame) -> pd.DataFrame:
    """Tell when each job was sold: when it was first told of, or built if that was before."""
    first = f"SELECT min(entry_id) FROM jobs WHERE {STANDING} GROUP BY job_id"  # noqa: S608
    names = ["entry_id", "job_id", "sold_on", "recorded_at"]
    told = store.rows(
        "SELECT entry_id, job_id, recorded_on, recorded_at FROM jobs JOIN entries USING (entry_id) "  # noqa: S608
        f"WHERE entry_id IN ({first}) ORDER BY job_id"
    )
    sales = pd.DataFrame(told, columns=names).merge(
        jobs[["job_id", "client_id", "bed_ids", "built_on"]], on="job_id"
    )
    is_late = sales["built_on"].ne("") & (sales["built_on"] < sales["sold_on"])
    sales = sales.assign(sold_on=sales["sold_on"].mask(is_late, sales["built_on"]))
    return sales[[*SALE_COLUMNS]]


def _beds(store: Store, jobs: pd.DataFrame) -> GeoDataFrame:
    names = ["bed_id", "client_id", "along", "area_ft2", "last_seen", "shape"]
    rows = store.rows(f"SELECT {', '.join(names)} FROM beds ORDER BY bed_id")  # noqa: S608
    beds = pd.DataFrame(rows, columns=names)
    built = jobs[jobs["built_on"] != ""]
    built = built.assign(bed_id=built["bed_ids"].str.split())
    built_on = built.explode("bed_id").groupby("bed_id")["built_on"].min().to_dict()
    beds = beds.assign(
        built_on=beds["bed_id"].map(built_on).astype("str").fillna(""),
        geometry=shapely.from_wkb(beds.pop("shape").to_numpy(object)),
    )
    return check_table(GeoDataFrame(beds, geometry="geometry", crs=WGS84), STORED_BEDS)


NO_SEASON = Season(
    calls=empty_table(CALL_LOG),
    answers=empty_table(ANSWERS),
    beds=GeoDataFrame(empty_table(STORED_BEDS), geometry="geometry", crs=WGS84),
    jobs=empty_table(JOBS),
    job_tasks=empty_table(JOB_TASKS),
    visits=empty_table(VISITS),
    measurements=empty_table(MEASUREMENTS),
)
"""What a book without a log knows: nothing."""
