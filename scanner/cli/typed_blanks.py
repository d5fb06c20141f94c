"""The blanks of a visit sheet as they are typed back: what was measured, seen and said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NamedTuple

import click
import numpy as np
import pandas as pd

from scanner.book.checklist_sheet import check_answers
from scanner.book.plants import read_plants
from scanner.calls.sales import override_measured
from scanner.cli.keeping import look_at
from scanner.cli.options import Asked
from scanner.errors import BookError
from scanner.pages.bed_words import letter_of, place_words
from scanner.pages.plan_page import write_feet
from scanner.schema.log_tables import QUESTIONS
from scanner.sheets.filled import CHECKLIST
from scanner.sheets.problems import Problem, shown
from scanner.sheets.reader import typed_rows
from scanner.sheets.values import read_days
from scanner.sheets.visit_blanks import BLANKS, DEPTH, ENDINGS, HEAD, LENGTH, NOTE, Blank

MOST_SHARE = 1.5
"""A length longer than the drawn edge by half is a slip, or another edge."""

LONGER_FT = 1.0
"""A bed that comes out so much longer than it is drawn may be drawn over what lies at its ends."""

BY_NAME = {blank.name: blank for blank in (*BLANKS, NOTE)}
SIZES, HEADS, MOST_HEADS = (LENGTH, DEPTH), "heads", 200


class Typed(NamedTuple):
    """What the blanks of one sheet say."""

    edges: list[dict[str, Any]]  # along, length_ft, room_ft, bed_id: each bed that was measured
    answers: pd.DataFrame  # rows of ANSWERS
    problems: list[Problem]
    note: str
    more: list[str]  # sentences: what was measured, a species that is not listed


def take_blanks(
    asked: Asked, client: Mapping[Any, Any], typed: Sequence[str], *, visited_on: str
) -> Typed:
    """Take what was typed as NAME=VALUE; ``client``: a row of the client list.

    `BadParameter` where a name or a word is none of the sheet; `BookError` where a measured length
    cannot be that of its bed.
    """
    values = dict(_read(one) for one in typed)
    sizes = {name: value for name, value in values.items() if name not in BY_NAME}
    said = {name: value for name, value in values.items() if name in BY_NAME}
    edges, more = list[dict[str, Any]](), list[str]()
    if sizes or HEADS in said:
        lot = _look(asked, client["client_id"])
        if sizes:
            edges = _measured(lot, sizes)
            more = _told(lot, edges)
        said = {
            name: _heads(lot, value) if name == HEADS else value for name, value in said.items()
        }
    answers, problems = _answers(client, said, visited_on, asked.today)
    note = "; ".join(
        value if name == NOTE.name else f"{name} {value}"
        for name, value in said.items()
        if not BY_NAME[name].question
    )
    return Typed(edges, answers, problems, note, more + _unlisted(asked.book, said))


def _read(typed: str) -> tuple[str, str]:
    """Tell a blank by its name, and what stands in it.

    >>> _read("Length a=17.5"), _read("lines seen=gas, water"), _read("slope = Some")
    (('length A', '17.5'), ('lines seen', 'gas, water'), ('slope', 'some'))
    """
    name, mark, value = (part.strip() for part in typed.partition("="))
    first, _, letter = name.casefold().partition(" ")
    if not mark or not value:
        message = f"'{typed}' is no name and value: write it as slope=flat"
        raise click.BadParameter(message, param_hint="BLANK")
    if first in SIZES and letter:
        return f"{first} {letter.upper()}", value
    blank = BY_NAME.get(name.casefold())
    if blank is None:
        message = _why_not(name)
        raise click.BadParameter(message, param_hint="BLANK")
    return blank.name, _word(blank, value)


def _why_not(name: str) -> str:
    """Say of what is no answer which command records it, else which names there are."""
    for printed, command in (HEAD | ENDINGS).items():
        # the words before a comma will do
        if name.casefold() in {printed.casefold(), printed.casefold().partition(",")[0]}:
            return f"'{name}' is not recorded with the blanks: {command} records it"
    names = "; ".join(("length A", "depth A", *BY_NAME))
    others = "; ".join(f"{printed} ({command})" for printed, command in (HEAD | ENDINGS).items())
    return f"'{name}' is no blank of the sheet: {names}; and by a command of their own: {others}"


def _word(blank: Blank, value: str) -> str:
    if not blank.words:
        return value
    told = [
        part.strip().casefold() for part in (value.split(",") if blank.may_be_several else [value])
    ]
    if strange := [word for word in told if word not in blank.words]:
        message = f"'{strange[0]}' does not stand beside {blank.name}: {', '.join(blank.words)}"
        raise click.BadParameter(message, param_hint="BLANK")
    return ", ".join(told)


def _answers(
    client: Mapping[Any, Any], said: Mapping[str, str], seen_on: str, today: date
) -> tuple[pd.DataFrame, list[Problem]]:
    """Give what answers a question about a lot: those of the checklist are checked as its cells are."""
    asked = {
        BY_NAME[name].question: BY_NAME[name].answers.get(value, value)
        for name, value in said.items()
        if BY_NAME[name].question
    }
    row = {"client_id": client["client_id"], "seen_on": seen_on}
    heads = BY_NAME[HEADS].question
    checked = typed_rows(
        CHECKLIST,
        row | {name: asked[name] for name in asked if name in QUESTIONS and name != heads},
    )
    answers, problems = check_answers(checked, pd.DataFrame([client]), today=today, file="")
    day = read_days(pd.Series([seen_on]), today=today).iloc[0]
    wishes = [
        {**row, "seen_on": day, "question": name, "answer": value}
        for name, value in asked.items()
        if name not in QUESTIONS or name == heads
    ]
    return pd.concat(
        [answers, pd.DataFrame(wishes, columns=answers.columns)], ignore_index=True
    ), problems


def _unlisted(book: Path, said: Mapping[str, str]) -> list[str]:
    liked = said.get("plant liked", "")
    species, _ = read_plants(book / "plants.toml")
    names = {
        one.casefold() for name, plant in species.items() for one in (name, plant.one, plant.many)
    }
    if not liked or liked.casefold() in names:
        return []
    near = get_close_matches(liked.casefold(), names, n=1)
    meant = f"; did you mean {near[0]}?" if near else ""
    return [
        f"{shown(liked)} is not in plants.toml{meant}: it is on record, and the first species that fits is drawn and priced"
    ]


class _Lot(NamedTuple):
    client_id: str
    beds: list[dict[Any, Any]]  # rows of BEDS
    measured: pd.DataFrame  # table MEASURED: what was measured there before
    letters: dict[str, str]  # bed by its letter on the sheet


def _look(asked: Asked, client_id: str) -> _Lot:
    read, season, found = look_at(asked, lambda _: [client_id])[0]
    leads = found.offers[found.offers["phase"] == 1]
    named = sorted(leads["bed_ids"].iloc[0].split()) if len(leads) else []
    letters = {letter_of(at): bed for at, bed in enumerate(named)}
    measured = override_measured(read.measured, season.measurements)
    measured = measured[measured["client_id"] == client_id]
    return _Lot(client_id, found.table("beds").to_dict("records"), measured, letters)


def _heads(lot: _Lot, value: str) -> str:
    """Say how many heads there are, and along which beds: those of the sheet."""
    if not value.isdigit() or int(value) > MOST_HEADS:
        message = f"'{value}' is no number of heads: write a whole one up to {MOST_HEADS}"
        raise click.BadParameter(message, param_hint="BLANK")
    return " ".join([f"{int(value)}", *(["along"] if lot.letters else []), *lot.letters.values()])


def _measured(lot: _Lot, sizes: Mapping[str, str]) -> list[dict[str, Any]]:
    """Give the beds that were measured, and of their kinds those that were before: the latest measuring of a kind counts."""
    client_id, beds, before, letters = lot
    by_id = {bed["bed_id"]: bed for bed in beds}
    lengths, depths = dict[str, float](), dict[str, float]()
    named = {bed.upper(): bed for bed in by_id} | letters
    for name, value in sizes.items():
        size, letter = name.split(" ", 1)
        if letter not in named:
            has = ", ".join(f"{one} ({bed})" for one, bed in letters.items()) or "none"
            message = f"{name}: {client_id} has no bed {letter} now; it has {has}, or by name {', '.join(by_id)}"
            raise BookError(message)
        (lengths if size == LENGTH else depths)[named[letter]] = _feet(name, value)
    for bed, feet in lengths.items():
        drawn_ft = by_id[bed]["edge_ft"]
        if feet > MOST_SHARE * drawn_ft:
            message = (
                f"{feet:g} ft is more than half as long again as {bed} ({write_feet(drawn_ft)}): look whether it is "
                "that bed; where the drawing is wrong, record it with --edge"
            )
            raise BookError(message)
    if alone := sorted(depths.keys() - lengths):
        message = f"a depth needs the length of its bed beside it: {alone[0]} has none"
        raise BookError(message)
    kinds = {by_id[bed]["along"] for bed in lengths}
    for name, one in by_id.items():
        if one["along"] in kinds and one["edge_source"] == "measured":
            lengths.setdefault(name, one["edge_ft"])
            depths.setdefault(name, _room_before(one, before))
    return [
        {"along": by_id[bed]["along"], "bed_id": bed, "length_ft": f"{feet:g}",
         "room_ft": f"{depths[bed]:g}" if depths.get(bed, np.inf) < np.inf else ""}
        for bed, feet in lengths.items()
    ]  # fmt: skip


def _told(lot: _Lot, edges: list[dict[str, Any]]) -> list[str]:
    """Say of each bed that was measured which one it is: the letters are those of a sheet that is printed now."""
    letter_of_bed = {bed: letter for letter, bed in lot.letters.items()}
    feet = {edge["bed_id"]: float(edge["length_ft"]) for edge in edges}
    typed = {
        edge["bed_id"]: f"{edge['length_ft']} ft"
        + (f", at most {edge['room_ft']} ft deep," if edge["room_ft"] else "")
        for edge in edges
    }
    return [
        f"{letter_of_bed.get(bed['bed_id'], bed['bed_id'])}, {write_feet(bed['edge_ft'])} {place_words(bed)}, "
        f"is {typed[bed['bed_id']]} from now on"
        + ", longer than it is drawn: papers show it past its ends" * (bed["edge_source"] != "measured" and feet[bed["bed_id"]] > bed["edge_ft"] + LONGER_FT)
        for bed in lot.beds if bed["bed_id"] in typed
    ]  # fmt: skip


def _room_before(bed: Mapping[Any, Any], before: pd.DataFrame) -> float:
    """Give the depth of lawn that was measured along a bed before, by itself or with all of its kind."""
    same = before[before["along"] == bed["along"]]
    own = same[same["bed_id"] == bed["bed_id"]]
    rooms_ft = (own if len(own) else same[same["bed_id"] == ""])["room_ft"]
    return float(np.fmin(rooms_ft.min(), np.inf))


def _feet(name: str, value: str) -> float:
    """Read a length in feet; ½ is a half."""
    try:
        return float(value.removesuffix("ft").strip().replace("½", ".5"))
    except ValueError:
        message = f"'{value}' is no length: write feet, as {name}=17.5"
        raise click.BadParameter(message, param_hint="BLANK") from None
