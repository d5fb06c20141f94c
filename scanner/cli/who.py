"""Who is meant: a client by id, name or phone number, as people say it on the phone; a job or a quote by its number."""

from __future__ import annotations

import re
from difflib import get_close_matches

import pandas as pd

from scanner.cli.options import Asked
from scanner.cli.talk import say
from scanner.errors import BookError, LogError
from scanner.schema.documents import Season
from scanner.schema.log_tables import QUOTE_OUTCOMES
from scanner.sheets.client_ids import match_ids

FEWEST_DIGITS = 7
"""A phone number without its area code; fewer digits are an id or part of a name."""
SHOWN_COUNT = 8
NO_QUOTE = "no quote has the number {number}: client BOOK WHO tells those of a client"
NO_SALE = "nothing that {client_id} bought waits to be built: record the sale first"
NEAR_COUNT, NEAR = 3, 0.75
"""So many clients are named whose name or id is like what was typed, and how like at least, as difflib counts it."""


def whom(asked: Asked, who: str) -> str:
    """Find the client that somebody means in a book's list, and say who that is: an id is easily mistyped."""
    client_id = find_client(who, asked.callees)
    told = ("client_id", "name", "address")
    own = asked.callees.loc[asked.callees["client_id"] == client_id, [*told]]
    say(f"{', '.join(filter(None, own.iloc[0]))}:")
    return client_id


def jobs_meant(who: str, waiting: pd.DataFrame, asked: Asked) -> tuple[str, pd.DataFrame]:
    """Find the one job that waits to be built, by its number or its client: the client, and no row or one."""
    typed = who.strip().casefold()
    own = waiting[waiting["job_id"].str.casefold() == typed]
    if len(own):
        return str(own["client_id"].iloc[0]), own
    _refuse_number(typed, asked.season)
    client_id = find_client(who, asked.callees)
    own = waiting[waiting["client_id"] == client_id]
    if len(own) > 1:
        message = f"{client_id} bought {len(own)} jobs, name one by its number: {', '.join(own['job_id'])}"
        raise LogError(message)
    return client_id, own


def _refuse_number(typed: str, season: Season) -> None:
    quotes = season.quotes[season.quotes["quote_id"].str.casefold() == typed]
    for quote in quotes.to_dict("records"):
        why = {
            "": "is not won yet: once it is signed, record it won",
            QUOTE_OUTCOMES[0]: "is built already",
        }.get(quote["outcome"], f"is {quote['outcome']}: nothing is to be built")
        message = f"{quote['quote_id']} {why}"
        raise LogError(message)
    if re.fullmatch(r"q\d{4}-\d+", typed):
        raise LogError(NO_QUOTE.format(number=typed.upper()))


def find_client(who: str, clients: pd.DataFrame) -> str:
    """Find the one client that somebody means; `BookError` names several that fit, or those whose names are near.

    >>> clients = pd.DataFrame({"client_id": ["007", "C12"], "name": ["Ada Quill", "Bo Quill"],
    ...                         "phone": ["(308) 555-0107", ""], "address": ["7 Elm St", "9 Elm St"]})
    >>> [find_client(who, clients) for who in ("7", "bo quill", "quill, ada", "555 0107")]
    ['007', 'C12', '007', '007']
    """
    by_id = match_ids(pd.Series([who], dtype="str"), clients)[0].iloc[0]
    if by_id:
        return str(by_id)
    fits = next((of for of in (_by_phone(who, clients), *_by_name(who, clients)) if len(of)), None)
    if fits is None:
        near = _listed(_nearest(who, clients))
        message = f"'{who}' is no id, name or phone number in the client list" + (
            f"; nearest to it: {near}" if near else ""
        )
        raise BookError(message)
    if len(fits) > 1:
        more = len(fits) - SHOWN_COUNT
        message = f"'{who}' fits {len(fits)} clients, name one by its id: {_listed(fits)}" + (
            f"; and {more} more" if more > 0 else ""
        )
        raise BookError(message)
    return str(fits["client_id"].iloc[0])


def _listed(clients: pd.DataFrame) -> str:
    return "; ".join(
        f"{client['client_id']} ({client['name']}, {client['address']})"
        for client in clients.head(SHOWN_COUNT).to_dict("records")
    )


def _nearest(who: str, clients: pd.DataFrame) -> pd.DataFrame:
    """Clients with an id, or with most words of a name, spelled nearly so."""
    by_id = get_close_matches(who.casefold(), clients["client_id"].str.casefold(), NEAR_COUNT, NEAR)
    if by_id:
        return clients[clients["client_id"].str.casefold().isin(by_id)].head(NEAR_COUNT)
    words = [set(_words(name)) for name in clients["name"]]
    known = sorted(set().union(*words))
    near = [{*get_close_matches(word, known, NEAR_COUNT, NEAR)} for word in _words(who)]
    count = pd.Series([sum(bool(own & like) for like in near) for own in words], clients.index)
    return clients[count.gt(0) & count.eq(count.max())].head(NEAR_COUNT)


def _by_phone(who: str, clients: pd.DataFrame) -> pd.DataFrame:
    typed = re.sub(r"\D", "", who)
    if len(typed) < FEWEST_DIGITS or re.search("[A-Za-z]", who):
        return clients.iloc[:0]
    known = clients["phone"].str.replace(r"\D", "", regex=True)
    # One of the two may lack the area code or the country's
    ends = known.map(
        lambda digits: (
            len(digits) >= FEWEST_DIGITS and (digits.endswith(typed) or typed.endswith(digits))
        )
    )
    return clients[ends.astype(bool)]


def _by_name(who: str, clients: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Clients called just so, and clients whose name has all the words typed."""
    typed = set(_words(who))
    names = clients["name"].map(lambda name: set(_words(name)))
    return (
        clients[(names == typed).astype(bool)],
        clients[names.map(lambda words: bool(typed) and typed <= words).astype(bool)],
    )


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", text.casefold())
