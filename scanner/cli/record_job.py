"""Write it down: jobs, ``record``'s word job."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import click

from scanner.calls.log import read_season
from scanner.calls.to_build import list_to_build
from scanner.cli.options import Asked, command, named_figure
from scanner.cli.recording import record_rows
from scanner.cli.talk import say
from scanner.cli.who import find_client
from scanner.errors import BookError, LogError
from scanner.schema.documents import FINISHES
from scanner.sheets.filled import JOB_SHEET
from scanner.sheets.reader import typed_rows


@command(
    "today",
    "json",
    takes_book=False,
    words="One job: its beds, what it was sold for, what it took.",
)
@click.argument("beds", nargs=-1, required=True, metavar="BED...")
@click.option("--built", "built_on", metavar="DATE", default="", help="Last day on the job.")
@click.option("--sold", "sold_usd", metavar="USD", default="", help="Price as sold, before tax.")
@click.option("--invoiced", "invoiced_usd", metavar="USD", default="", help="As invoiced.")
@click.option("--finish", type=click.Choice(FINISHES), help="Finish.  [default: the book's lead]")
@click.option("--method", metavar="TEXT", default="", help="How the sod was stripped.")
@click.option("--hours", metavar="TASK=HOURS", multiple=True, help="Labor that a task took.")
@click.option("--cost", metavar="TASK=USD", multiple=True, help="What a material came to.")
@click.option("--note", metavar="TEXT", default="", help="Anything worth knowing.")
def job(
    asked: Asked,
    beds: tuple[str, ...],
    built_on: str,
    sold_usd: str,
    invoiced_usd: str,
    finish: str | None,
    method: str,
    hours: tuple[str, ...],
    cost: tuple[str, ...],
    note: str,
) -> int:
    """Record the job that sold or built the beds BED, by the names in the call list.

    Told again, it adds to what is on record: sell it first, then give the day, the
    hours and the costs. The number of a job or of a quote that was won stands for its beds,
    and so does a client (id, name or phone number): for the one job to build, with --sold
    else for the beds of the first offer in the last list, without it for the job that was built.
    """
    job_id, bed_ids = _job_of(asked, beds, is_sale=bool(sold_usd))
    head = {
        "job_id": job_id, "bed_ids": bed_ids, "built_on": built_on, "sold_usd": sold_usd,
        "invoiced_usd": invoiced_usd, "finish": finish or "", "method": method, "note": note,
    }  # fmt: skip
    spent = [("actual_hours", typed) for typed in hours] + [("actual_usd", typed) for typed in cost]
    tasks = [_task_row(column, typed, job_id=job_id) for column, typed in spent]
    rows = typed_rows(JOB_SHEET, head, *tasks)
    code = record_rows("jobs", rows, asked)
    if built_on and not code:
        _mind_the_ticket(asked.book, job_id)
    return code


def _mind_the_ticket(book: Path, job_id: str) -> None:
    """Say that a job was dug without a ticket on record: the lines, and who answers for them, may depend on it."""
    season = read_season(book)
    clients = season.jobs.loc[season.jobs["job_id"] == job_id, "client_id"]
    for client_id in clients[~clients.isin(season.tickets["client_id"])]:
        say(
            f"Mind: no locating ticket of {client_id} is on record; if 811 gave one, write it down with "
            f"record BOOK ticket {client_id} NUMBER --from DATE --until DATE."
        )


def _job_of(asked: Asked, beds: tuple[str, ...], *, is_sale: bool) -> tuple[str, str]:
    """Find the job that is meant, by its number, all its beds or its client; a new one has its first bed's name."""
    season = asked.season
    jobs = season.jobs
    is_own = jobs["bed_ids"].map(lambda ids: {*ids.split()} == {*beds}).astype(bool)
    is_own |= jobs["job_id"].str.casefold().eq(beds[0].casefold()) & (len(beds) == 1)
    if not is_own.any() and len(beds) == 1 and beds[0] not in {*season.stored["bed_id"]}:
        jobs, client_id = list_to_build(season), _client_of(beds[0], asked)
        if client_id not in {*jobs["client_id"]}:
            first = [bed_ids.split()[0] for bed_ids in season.listed["bed_ids"]]
            jobs = season.listed.assign(job_id=first) if is_sale else season.jobs
        is_own = jobs["client_id"] == client_id
    known = [*jobs.loc[is_own, ["job_id", "bed_ids"]].itertuples(index=False, name=None)]
    if len(known) > 1:
        message = f"{beds[0]} stands for several jobs, name one by its number: {', '.join(name for name, _ in known)}"
        raise LogError(message)
    return known[0] if known else (beds[0], " ".join(beds))


def _client_of(who: str, asked: Asked) -> str:
    """Name the client that may be meant instead of a bed; blank: none."""
    with suppress(BookError):
        return find_client(who, asked.callees)
    return ""


def _task_row(column: str, typed: str, *, job_id: str) -> dict[str, str]:
    task, amount = named_figure(typed, "set edging=3.5")
    return {"job_id": job_id, "task": task, column: amount}
