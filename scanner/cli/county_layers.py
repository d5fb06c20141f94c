"""Get the lots in: ``assemble`` a book's sites out of open county or city layers."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from scanner.book.assemble import Assembly, assemble_sites, report_lines
from scanner.book.county.layer_kinds import KINDS, PROPERTY, County, Pick
from scanner.book.county.sources import Source
from scanner.cli.closing import problem_words
from scanner.cli.options import Asked, command
from scanner.cli.rows import show_problems
from scanner.cli.talk import counted, progress_bar, say, tell
from scanner.sheets.problems import faults_of

KIND_NAMES = tuple(kind.name for kind in KINDS)


def find_layer(typed: str) -> Source:
    """Find the file that a layer is in: a file, or a file and the name of a layer in it as ``county.gpkg#parcels``."""
    path, _, layer = typed.rpartition("#")
    if Path(typed).exists():
        return Source(Path(typed))
    if path and Path(path).exists():
        return Source(Path(path), layer)
    message = f"there is no file '{typed}'."
    raise click.BadParameter(message)


def read_pick(typed: str) -> Pick:
    """Take apart which features of a layer are used: ``house=TYPE:Residential``."""
    kind, has_kind, rest = typed.partition("=")
    column, has_value, wanted = rest.partition(":")
    if not (has_kind and has_value and column.strip() and wanted.strip()):
        message = f"'{typed}' is not written as KIND=COLUMN:VALUE, like house=TYPE:Home."
        raise click.BadParameter(message)
    if kind.strip() not in KIND_NAMES:
        message = f"'{kind}' is no kind; the kinds are {', '.join(KIND_NAMES)}."
        raise click.BadParameter(message)
    return Pick(kind.strip(), column.strip(), " ".join(wanted.split()))


COLUMNS = {
    "--parcel-id": "the parcels' ids", "--parcel-address": "the parcels' street addresses",
    "--year-built": "the year the house was built",
}  # fmt: skip
"""Columns of the parcels that an option names, and what they hold."""


def layer_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command one option for each kind of layer, and for each column of the parcels."""
    for name, what in reversed(COLUMNS.items()):
        command = click.option(name, metavar="COLUMN", default="", help=f"Column of {what}.")(
            command
        )
    for kind in reversed(KINDS):
        command = click.option(
            f"--{kind.option}", kind.name, type=find_layer, metavar="LAYER", multiple=True,
            required=kind is PROPERTY,
            help=f"Layer of {kind.option}, {' or '.join(kind.shapes)}; may be given more than once.",
        )(command)  # fmt: skip
    return command


def _find_matches(ctx: click.Context, param: click.Parameter, value: Path | None) -> Path | None:
    """Look for the filled-in list here, then in the book."""
    if value is None or value.is_file():
        return value
    inside = Path(ctx.params.get("book", Path())) / value
    if inside.is_file():
        return inside
    message = f"there is no file '{value}', neither here nor in the book."
    raise click.BadParameter(message, ctx, param)


@command("json", takes_book=False)
@click.argument(
    "book", type=click.Path(exists=True, file_okay=False, path_type=Path), is_eager=True
)
@layer_options
@click.option(
    "--only",
    "picks",
    type=read_pick,
    metavar="KIND=COLUMN:VALUE",
    multiple=True,
    help="Use only features of a kind whose column holds a value; may be given more than once.",
)
@click.option(
    "--street-width",
    "street_width_ft",
    metavar="FEET",
    type=click.FloatRange(1, 200),
    help="Paved width of streets given as centerlines.",
)
@click.option(
    "--sidewalk-width",
    "sidewalk_width_ft",
    metavar="FEET",
    type=click.FloatRange(1, 50),
    help="Width of sidewalks given as lines.",
)
@click.option(
    "--matches",
    "matches_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    callback=_find_matches,
    help="List of unmatched clients, filled in.",
)
def assemble(asked: Asked, /, *, matches_file: Path | None, **told: Any) -> int:  # noqa: ANN401  # layers, and fields of `County`
    """Make the sites of BOOK of open county or city layers, each client's lot with what is round it.

    LAYER is a file of any map format, in its own coordinate system, with #NAME behind it
    where the file has several layers. Prints what came of each client; those without a lot
    are listed in unmatched.csv, to be filled in and given back with --matches.
    """
    sources = {name: told.pop(name) for name in KIND_NAMES}
    county = County(sources={name: given for name, given in sources.items() if given}, **told)
    _refuse_idle(county)
    with progress_bar("reading the layers"):
        assembly = assemble_sites(asked.book, county, matches_file=matches_file)
    _tell(assembly, asked.book, as_json=asked.as_json)
    return len(faults_of(assembly.problems)) + assembly.counts["unmatched"]


def _refuse_idle(county: County) -> None:
    """Refuse a pick from a layer that is not given: most likely one of the two is misspelled."""
    for pick in county.picks:
        if pick.kind not in county.sources:
            option = next(kind.option for kind in KINDS if kind.name == pick.kind)
            message = (
                f"--only names {pick.kind}, and no layer of that kind is given: add --{option}."
            )
            raise click.UsageError(message)


def _tell(assembly: Assembly, book: Path, *, as_json: bool) -> None:
    counts, problems = assembly.counts, assembly.problems
    files = [file for file in (assembly.sites_file, assembly.unmatched_file) if file]
    if as_json:
        rows = [
            {str(name): str(cell) for name, cell in row.items()}
            for row in problems.to_dict("records")
        ]
        document = {"counts": counts, "files": [str(file) for file in files], "problems": rows}
        tell(json.dumps(document, ensure_ascii=False, indent=2))
    else:
        show_problems(problems, as_json=False)
        tell("\n".join([*report_lines(counts), *(str(file) for file in files)]))
    fault_count = len(faults_of(problems))
    words = [f"Matched {counts['matched']:,} of {counted(counts['clients'], 'client')}."]
    if counts["unmatched"] and assembly.unmatched_file:
        words.append(
            f"{counted(counts['unmatched'], 'client')} without a lot: fill in the column choice of "
            f"{assembly.unmatched_file} and run the same command with --matches {assembly.unmatched_file}."
        )
    words.append(problem_words(fault_count, len(problems), None))
    words.append(f"Next: bed-scanner scan {book}")
    say(" ".join(part for part in words if part))
