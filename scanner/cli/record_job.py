"""Write it down: jobs, ``record``'s word job."""

from __future__ import annotations

from datetime import date

import click
import pandas as pd

from scanner.calls.log import read_season
from scanner.cli.options import json_option, named_figure, today_option
from scanner.cli.recording import record_rows
from scanner.schema.documents import FINISHES
from scanner.sheets.filled import JOB_SHEET
from scanner.sheets.reader import typed_rows


@click.command(short_help="One job: its beds, what it was sold for, what it took.")
@click.argument("beds", nargs=-1, required=True, metavar="BED...")
@click.option("--built", "built_on", metavar="DATE", default="", help="Last day on the job.")
@click.option("--sold", "sold_usd", metavar="USD", default="", help="Price as sold, before tax.")
@click.option("--invoiced", "invoiced_usd", metavar="USD", default="", help="As invoiced.")
@click.option("--finish", type=click.Choice(FINISHES), help="Finish.  [default: the book's lead]")
@click.option("--method", metavar="TEXT", default="", help="How the sod was stripped.")
@click.option("--hours", metavar="TASK=HOURS", multiple=True, help="Labor that a task took.")
@click.option("--cost", metavar="TASK=USD", multiple=True, help="What a material came to.")
@click.option("--note", metavar="TEXT", default="", help="Anything worth knowing.")
@today_option
@json_option
@click.pass_context
def job(
    ctx: click.Context,
    beds: tuple[str, ...],
    built_on: str,
    sold_usd: str,
    invoiced_usd: str,
    finish: str | None,
    method: str,
    hours: tuple[str, ...],
    cost: tuple[str, ...],
    note: str,
    today: date,
    as_json: bool,
) -> None:
    """Record the job that sold or built the beds BED, by the names in the call list.

    Told again, it adds to what is on record: sell it first, then give the day, the
    hours and the costs. The number of a job or of a quote that was won stands for its beds.
    """
    job_id, bed_ids = _job_of(read_season(ctx.obj).jobs, beds)
    head = {
        "job_id": job_id, "bed_ids": bed_ids, "built_on": built_on, "sold_usd": sold_usd,
        "invoiced_usd": invoiced_usd, "finish": finish or "", "method": method, "note": note,
    }  # fmt: skip
    spent = [("actual_hours", typed) for typed in hours] + [("actual_usd", typed) for typed in cost]
    tasks = [_task_row(column, typed, job_id=job_id) for column, typed in spent]
    rows = typed_rows(JOB_SHEET, head, *tasks)
    ctx.exit(record_rows("jobs", rows, ctx.obj, today=today, as_json=as_json))


def _job_of(jobs: pd.DataFrame, beds: tuple[str, ...]) -> tuple[str, str]:
    """Find the job on record that is meant, by its number or all its beds; a new one has its first bed's name."""
    is_own = jobs["bed_ids"].map(lambda ids: {*ids.split()} == {*beds}).astype(bool)
    is_own |= jobs["job_id"].str.casefold().eq(beds[0].casefold()) & (len(beds) == 1)
    known = [*jobs.loc[is_own, ["job_id", "bed_ids"]].itertuples(index=False, name=None)]
    return known[0] if known else (beds[0], " ".join(beds))


def _task_row(column: str, typed: str, *, job_id: str) -> dict[str, str]:
    task, amount = named_figure(typed, "set edging=3.5")
    return {"job_id": job_id, "task": task, column: amount}
