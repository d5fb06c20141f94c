"""Client ids as they come back from a spreadsheet: 007 may have become 7, or C7 c7."""

from __future__ import annotations

import re

import pandas as pd

from scanner.sheets.problems import ID_REMEDY, Cause, shown

_WHOLE = re.compile(r"^0*(\d+)(\.0+)?$")


def match_ids(
    typed: pd.Series[str], clients: pd.DataFrame, *, names: pd.Series[str] | None = None
) -> tuple[pd.Series[str], pd.Series[str]]:
    """Find the clients that ids in a sheet stand for.

    >>> clients = pd.DataFrame({"client_id": ["007", "C0012"], "name": ["Ada", "Bo"]})
    >>> ids, reasons = match_ids(pd.Series(["7", "c0012", "9"]), clients)
    >>> ids.tolist(), reasons.iloc[2]
    (['007', 'C0012', ''], "client_id '9' is not in the client list")
    >>> match_ids(pd.Series(["007"]), clients, names=pd.Series(["Bo"]))[1].item()
    "client_id is 007, but the name 'Bo' is C0012's"
    """
    by_id = dict(zip(clients["client_id"], clients["name"].str.strip().str.casefold(), strict=True))
    alike: dict[str, list[str]] = {}
    for client_id in by_id:
        alike.setdefault(_plain(client_id), []).append(client_id)
    # Where one id kept its zeros, the sheet has not turned ids into numbers
    keeps_zeros = bool(typed.str.match(r"^\s*0\d").any())
    told = names if names is not None else pd.Series("", index=typed.index, dtype="str")
    found = [
        _choose(one.strip(), alike.get(_plain(one), []), by_id, (keeps_zeros, name.strip().casefold()))
        for one, name in zip(typed, told, strict=True)
    ]  # fmt: skip
    owners = dict(zip(by_id.values(), by_id, strict=True))
    reasons = [
        _reason(one, fits) or _other_name(fits[0], name, by_id, owners)
        for one, fits, name in zip(typed, found, told, strict=True)
    ]
    ids = [
        "" if reason else candidates[0] for candidates, reason in zip(found, reasons, strict=True)
    ]
    return (
        pd.Series(ids, index=typed.index, dtype="str"),
        pd.Series(reasons, index=typed.index, dtype="str"),
    )


def match_rows(rows: pd.DataFrame, clients: pd.DataFrame) -> tuple[pd.DataFrame, Cause]:
    """Give rows the ids of the clients that they stand for, and what keeps the others out."""
    ids, reasons = match_ids(rows["client_id"], clients, names=rows.get("name"))
    rows = rows.assign(client_id=ids.where(ids != "", rows["client_id"]))
    return rows, (reasons != "", reasons, ID_REMEDY)


def _other_name(client_id: str, typed: str, name_of: dict[str, str], owners: dict[str, str]) -> str:
    """Say that the name beside an id is another client's, as where one column was sorted alone."""
    name = typed.strip().casefold()
    if name not in owners or not name or name == name_of[client_id]:
        return ""
    return f"client_id is {client_id}, but the name {shown(typed)} is {owners[name]}'s"


def _plain(client_id: str) -> str:
    text = client_id.strip().casefold()
    number = _WHOLE.match(text)
    return number[1] if number else text


def _choose(
    typed: str, fits: list[str], name_of: dict[str, str], hints: tuple[bool, str]
) -> list[str]:
    """Narrow several clients down by what else the sheet tells."""
    keeps_zeros, name = hints
    if len(fits) > 1 and typed in fits and (keeps_zeros or not _WHOLE.match(typed.casefold())):
        return [typed]
    if len(fits) > 1 and name:
        by_name = [client_id for client_id in fits if name_of[client_id] == name]
        return by_name if len(by_name) == 1 else fits
    return fits


def _reason(typed: str, fits: list[str]) -> str:
    if not typed.strip():
        return "client_id is blank"
    if not fits:
        return f"client_id {shown(typed)} is not in the client list"
    if len(fits) > 1:
        return f"client_id {shown(typed)} may stand for {' or '.join(fits)}: a spreadsheet drops leading zeros"
    return ""
