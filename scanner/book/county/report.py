"""What came of assembling: counts that add up to the client list."""

from __future__ import annotations

from collections.abc import Mapping

from scanner.book.county.matching import WAYS, Match

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


def count_clients(matches: list[Match], *, without_house: int, without_curb: int) -> dict[str, int]:
    """Count clients by what came of them; those matched once more by house and by curb."""
    ways = [match.way for match in matches]
    unmatched = ways.count("")
    matched = len(ways) - unmatched
    ambiguous = sum(match.is_ambiguous for match in matches)
    return {
        "clients": len(ways),
        "matched": matched,
        **{f"by_{way.replace(' ', '_')}": ways.count(way) for way in WAYS},
        "unmatched": unmatched,
        "ambiguous": ambiguous,
        "not_found": unmatched - ambiguous,
        "with_house": matched - without_house,
        "without_house": without_house,
        "with_curb": matched - without_curb,
        "without_curb": without_curb,
    }


def report_lines(counts: Mapping[str, int]) -> list[str]:
    """Write the counts one a line, numbers under each other.

    >>> report_lines(count_clients([], without_house=0, without_curb=0))[0]
    'clients                               0'
    """
    return [f"{words:<32}{counts[name]:>7,}" for name, words in LINES.items()]
