"""One block of lots, from its features to its offers: ground → job."""

from __future__ import annotations

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from scanner.book.unseen import list_defeated
from scanner.calls.sales import set_sold_aside
from scanner.desk import Desk
from scanner.ground.corrections import correct_beds
from scanner.ground.lot_tables import list_beds, list_lot_edges, list_lots, list_notes, list_shapes
from scanner.ground.on_foot import size_measured
from scanner.ground.stored import match_stored_beds, plant_built
from scanner.ground.survey import Survey, survey_lots
from scanner.job.bundles import LATER, LEAD, Demand, bundle_beds
from scanner.job.offers import make_offers
from scanner.schema.documents import PART_TABLES, Part
from scanner.schema.tables import (
    BED_LIST,
    BEDS,
    EDGES,
    LOT_LIST,
    LOTS,
    OFFERS,
    PROBLEMS,
    SHAPES,
    check_table,
    empty_table,
)
from scanner.sheets.problems import join_problems, list_problems
from scanner.store.blocks import Block
from scanner.store.parquet_tables import write_tables

THIN = {"lots": LOT_LIST, "beds": BED_LIST, "offers": OFFERS, "problems": PROBLEMS}
"""Tables of the whole book, in columns few enough to hold."""

Worked = tuple[int, Part, dict[str, pd.DataFrame]]
"""How many clients a block has, its part, and its rows of the thin tables."""


def work_block(block: Block, *, demand: Demand) -> Worked:
    """
    Take a block from features to offers.

    Parameters
    ----------
    block
        Lots next to each other, with what they are worked out from.
    demand
        What clients may well pay.

    Returns
    -------
    worked
        How many clients it has, its part, and of the thin tables what belongs there.

    Raises
    ------
    SchemaError
        If a stage hands over a table that breaks its schema: a bug.
    """
    features = plant_built(block.land.window(block.windows), block.season.beds)
    survey, failed = _survey(block, features)
    worked = [] if survey is None else [_price_block(block, survey, survey.lots.client_id, demand)]
    left = np.array(failed, dtype=object) if len(features) else block.client_ids
    if len(left):
        worked.append(_price_block(block, None, left, demand))
    tables = {name: join_tables([one[name] for one in worked]) for name in worked[0]}
    problems = join_problems(tables["problems"], list_defeated(failed))
    tables = _along({**tables, "problems": problems}, block.client_ids)
    part: Part = {name: tables[name] for name in PART_TABLES}
    if block.folder is not None:
        part = write_tables(part, block.folder)
    thin = {name: tables[name][[*schema.columns]] for name, schema in THIN.items()}
    return len(block.client_ids), part, thin


def _along(tables: dict[str, pd.DataFrame], client_ids: np.ndarray) -> dict[str, pd.DataFrame]:
    """Put the rows of every table in the order of the lots."""
    places = pd.Series(range(len(client_ids)), index=client_ids)
    of_offer = tables["offer_beds"].drop_duplicates("offer_id").set_index("offer_id")["client_id"]
    sorted_tables = dict[str, pd.DataFrame]()
    for name, table in tables.items():
        owners = table["client_id"] if "client_id" in table else table["offer_id"].map(of_offer)
        order = np.argsort(owners.map(places).to_numpy(float), kind="stable")
        sorted_tables[name] = table.iloc[order].reset_index(drop=True)
    return sorted_tables


def _survey(block: Block, features: GeoDataFrame) -> tuple[Survey | None, list[str]]:
    """Look at the lots of a block; the clients of those that defeat the geometry library."""
    if features.empty:
        return None, []
    return survey_lots(
        features,
        block.client_ids,
        block.book.clients,
        rules=block.book.rules,
        stored=block.season.beds,
        answers=block.season.answers,
    )


def _price_block(
    block: Block, survey: Survey | None, clients: np.ndarray, demand: Demand
) -> dict[str, pd.DataFrame]:
    """Take lots from beds to offers."""
    book, season, rules = block.book, block.season, block.book.rules
    measured = book.measured[book.measured["client_id"].isin(clients)]
    beds = set_sold_aside(_find_beds(block, survey, measured), season.jobs)
    desk = Desk(book, season, beds, survey)
    bundles = bundle_beds(
        desk.price_alone(), desk.price_sets,
        demand=demand, limit_crew_days=rules.job_limit_crew_days,
    )  # fmt: skip
    sets = dict(zip(bundles["offer_id"], bundles["beds"], strict=True))
    listed = bundles["role"].isin([LEAD, LATER])
    kept = desk.keep(sets, bundles.loc[listed, "offer_id"].tolist())
    offers = make_offers(
        bundles, kept["prices"], kept["offer_beds"],
        rules=rules, answers=season.answers,
    )  # fmt: skip
    return {
        "lots": list_lots(survey) if survey else empty_table(LOTS),
        "edges": list_lot_edges(survey) if survey else empty_table(EDGES),
        "beds": beds.loc[:, [*BEDS.columns]],
        "shapes": list_shapes(survey, beds) if survey else empty_table(SHAPES),
        **kept,
        "offers": offers,
        "problems": list_notes(survey, rules=rules) if survey else list_problems([]),
    }


def _find_beds(block: Block, survey: Survey | None, measured: pd.DataFrame) -> pd.DataFrame:
    """Correct what was drawn by what was measured; edges that nobody drew stand for themselves."""
    season, rules = block.season, block.book.rules
    drawn = empty_table(BEDS)
    if survey is not None:
        drawn, measured = correct_beds(list_beds(survey), measured, rules=rules)
    on_foot = match_stored_beds(
        size_measured(measured, rules=rules, answers=season.answers),
        season.beds,
        frame="",
        rules=rules,
    )
    beds = join_tables([drawn, on_foot])
    return check_table(beds.sort_values("bed_id", ignore_index=True), BEDS)


def join_tables(tables: list[pd.DataFrame]) -> pd.DataFrame:
    """
    Put tables of one kind below each other.

    Parameters
    ----------
    tables
        At least one; those without rows add nothing.

    Returns
    -------
    table
        All rows, numbered anew.
    """
    filled = [table for table in tables if len(table)] or tables[:1]
    return pd.concat(filled, ignore_index=True)
