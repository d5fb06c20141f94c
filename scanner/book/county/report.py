"""What came of assembling: counts that add up to the client list."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass

from scanner.book.county.matching import Match


@dataclass(frozen=True)
class Counts:
    """Clients by what came of them [count]."""

    clients: int  # all that the client list has
    matched: int  # with a lot: the sum of the next four
    by_choice: int  # by how the lot was found
    by_parcel_id: int
    by_address: int
    by_place: int
    unmatched: int  # without a lot: the sum of the next two. ``matched`` and this are all clients
    ambiguous: int  # several lots fit; none does, or one that something speaks against
    not_found: int
    # matched clients by whether a building stands on the lot; the two are ``matched``
    with_house: int
    without_house: int
    with_curb: int  # matched clients by whether a curb lies within the frontage; likewise
    without_curb: int

    def as_dict(self) -> dict[str, int]:
        """Give the counts by name."""
        return asdict(self)


LINES = {
    "clients": "clients",
    "matched": "matched",
    "by_choice": "  by your choice",
    "by_parcel_id": "  by parcel id",
    "by_address": "  by address",
    "by_place": "  by longitude and latitude",
    "without_house": "  of these without a house",
    "without_curb": "  of these without a curb",
    "unmatched": "not matched",
    "ambiguous": "  several lots fit",
    "not_found": "  no lot found",
}
"""How each count is told; what stands under another is a part of it."""


def count_clients(matches: list[Match], *, without_house: int, without_curb: int) -> Counts:
    """Count clients by what came of them.

    >>> found = [Match("address", (3,)), Match(reason="no parcel has its address")]
    >>> counts = count_clients(found, without_house=1, without_curb=0)
    >>> counts.clients, counts.matched, counts.unmatched, counts.with_house
    (2, 1, 1, 0)
    """
    ways = [match.way for match in matches]
    matched = len(ways) - ways.count("")
    ambiguous = sum(match.is_ambiguous for match in matches)
    return Counts(
        clients=len(ways),
        matched=matched,
        by_choice=ways.count("choice"),
        by_parcel_id=ways.count("parcel id"),
        by_address=ways.count("address"),
        by_place=ways.count("place"),
        unmatched=len(ways) - matched,
        ambiguous=ambiguous,
        not_found=len(ways) - matched - ambiguous,
        with_house=matched - without_house,
        without_house=without_house,
        with_curb=matched - without_curb,
        without_curb=without_curb,
    )


def report_lines(counts: Mapping[str, int]) -> list[str]:
    """Write the counts one a line, numbers under each other.

    >>> report_lines(count_clients([], without_house=0, without_curb=0).as_dict())[0]
    'clients                               0'
    """
    return [f"{words:<32}{counts[name]:>7,}" for name, words in LINES.items()]
