"""Bed sizes and local rules: the standard ones, with what a firm's own local.toml replaces."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
from pydantic import ValidationError

from scanner.book.figures import merge_settings
from scanner.book.settings import Choice, Figure, Setting, load_own, load_standard
from scanner.errors import RateError
from scanner.schema.documents import LocalRules
from scanner.schema.edge_kinds import ALONG
from scanner.sheets.problems import Problem, fault, list_problems, shown

_WORDS = {
    "house_faces": ("front", "side", "back"),
    "kind_order": ALONG,
    "offer_kinds": ALONG,
    "drives_known": ("yes", "no"),
}
_PAIRS = (("bed_depth_ft", "min_depth_ft"), ("offer_kinds", "kind_order"))
_STANDARD_KEPT = "the standard value is used instead"


def read_rules(path: Path | None) -> tuple[LocalRules, pd.DataFrame]:
    """
    Read a firm's local rules over the standard ones; each value keeps its source.

    Parameters
    ----------
    path
        ``local.toml``; None or no such file: the standard rules.

    Returns
    -------
    rules
        Every rule, with ``sources`` by key.
    problems
        Table `PROBLEMS`.

    Raises
    ------
    RateError
        If the standard rules themselves are broken, which is our bug.

    Examples
    --------
    >>> rules, problems = read_rules(None)
    >>> rules.bed_depth_ft, rules.sources["setbacks.hydrant_ft"][:13]
    (4.0, 'NFPA 1 18.5.7')
    """
    standard = load_standard("local.toml")
    own, problems = load_own(path)
    file = path.name if path else "local.toml"
    settings, merge_problems = merge_settings(standard, own, file)
    problems += merge_problems
    for check in (_check_words, _check_addresses, _check_pairs, _check_limits):
        settings, found = check(settings, standard, file)
        problems += found
    try:
        rules = _build(settings)
    except ValidationError as err:
        message = f"the standard local rules are broken: {err}"
        raise RateError(message) from err
    return rules, list_problems(problems)


Settings = dict[str, Setting]


def _check_words(
    settings: Settings, standard: Settings, file: str
) -> tuple[Settings, list[Problem]]:
    checked = dict(settings)
    problems = []
    for key, words in _WORDS.items():
        came = _words(settings[key])
        strange = [word for word in came if word not in words]
        doubled = len(set(came)) < len(came)
        if strange or doubled:
            what = shown(strange[0]) if strange else "a word twice"
            named = ", ".join(words)
            problem = f"{what} came; {named} are allowed, each once; {_STANDARD_KEPT}"
            problems.append(
                fault(file, key, problem, f"write some of {named}, each in quotation marks")
            )
            checked[key] = standard[key]
    return checked, problems


def _check_addresses(
    settings: Settings, standard: Settings, file: str
) -> tuple[Settings, list[Problem]]:
    checked = dict(settings)
    problems = []
    for key in ("backgrounds.imagery_url", "backgrounds.streets_url"):
        address = str(settings[key].value)
        has_places = all(place in address for place in ("{z}", "{x}", "{y}"))
        if address and not (address.startswith("https://") and has_places):
            problem = f"{shown(address)} came; an https:// address with {{z}}, {{x}} and {{y}} in it is allowed; {_STANDARD_KEPT}"
            problems.append(
                fault(file, key, problem, 'write such an address, or "" for no background')
            )
            checked[key] = standard[key]
    return checked, problems


def _check_pairs(
    settings: Settings, standard: Settings, file: str
) -> tuple[Settings, list[Problem]]:
    """Check what must agree with another; both go back to the standard where they don't."""
    checked = dict(settings)
    problems = []
    depth, least = (_number(checked[key]) for key in _PAIRS[0])
    if depth < least:
        given = [key for key in _PAIRS[0] if settings[key] != standard[key]]
        problem = f"bed_depth_ft {depth:g} came with min_depth_ft {least:g}; a bed may not be shallower than the minimum; the standard values are used instead"
        remedy = "make bed_depth_ft larger or min_depth_ft smaller"
        problems.append(fault(file, given[0], problem, remedy))
        checked |= {key: standard[key] for key in _PAIRS[0]}
    offered, order = (_words(checked[key]) for key in _PAIRS[1])
    if missing := [word for word in offered if word not in order]:
        given = [key for key in _PAIRS[1] if settings[key] != standard[key]]
        problem = f"offer_kinds names {missing[0]}, which kind_order does not; the standard values are used instead"
        problems.append(fault(file, given[0], problem, f"put {missing[0]} into kind_order too"))
        checked |= {key: standard[key] for key in _PAIRS[1]}
    return checked, problems


def _check_limits(
    settings: Settings, standard: Settings, file: str
) -> tuple[Settings, list[Problem]]:
    """Put back what the document itself refuses."""
    try:
        _build(settings)
    except ValidationError as err:
        refused = {".".join(str(part) for part in error["loc"]): error for error in err.errors()}
        known = [key for key in settings if key in refused]
        problems = [
            fault(
                file,
                key,
                f"{settings[key].value} came; {refused[key]['msg'].lower()}; {_STANDARD_KEPT}",
                "write a value within that",
            )
            for key in known
        ]
        return {**settings, **{key: standard[key] for key in known}}, problems
    return settings, []


def _number(setting: Setting) -> float:
    return setting.value if isinstance(setting, Figure) else float("nan")


def _words(setting: Setting) -> tuple[str, ...]:
    if isinstance(setting, Choice):
        return (setting.value,) if isinstance(setting.value, str) else setting.value
    return ()


def _build(settings: Settings) -> LocalRules:
    fields: dict[str, Any] = {}
    for key, setting in settings.items():
        group, _, name = key.rpartition(".")
        place = fields.setdefault(group, {}) if group else fields
        place[name] = setting.value
    sources = {key: setting.source for key, setting in settings.items()}
    return LocalRules(**fields, sources=sources)
