"""``rates.toml`` and ``local.toml``: the standard settings, with what a firm's own file replaces."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd
from pydantic import ValidationError

from scanner.errors import RateError
from scanner.schema.documents import Document, LocalRules, Rate, RateBook
from scanner.schema.figures import SettingError
from scanner.sheets.problems import Problem, fault, list_problems, shown
from scanner.store.ceilings import MAX_SETTING_LETTERS, MAX_SETTINGS_BYTES

_PARTS = {"value", "low", "high", "source"}
"""What an inline table of one setting may say."""

_ALIKE = 0.5
"""How alike a misspelled name must be to be taken for a known one, 0 to 1."""

_Document = TypeVar("_Document", RateBook, LocalRules)


class Choice(Document):
    """A word, or words, with its source."""

    value: Any
    source: str


Setting = Rate | Choice
Error = dict[str, Any]
"""One error as pydantic tells it."""


def read_rates(path: Path | None) -> tuple[RateBook, pd.DataFrame]:
    """Read a firm's rate book over the standard one; a faulty key is listed and the standard one used.

    >>> rates, problems = read_rates(None)
    >>> rates.labor_usd_per_hour.value, len(problems)
    (28.0, 0)
    """
    return _read(RateBook, path, "rates.toml")


def read_rules(path: Path | None) -> tuple[LocalRules, pd.DataFrame]:
    """Read a firm's local rules over the standard ones; each value keeps its source.

    >>> rules, problems = read_rules(None)
    >>> rules.bed_depth_ft, rules.sources["setbacks.hydrant_ft"][:13]
    (4.0, 'NFPA 1 18.5.7')
    """
    return _read(LocalRules, path, "local.toml")


def _read(model: type[_Document], path: Path | None, name: str) -> tuple[_Document, pd.DataFrame]:
    standard: dict[str, Setting] = {
        key: Rate(**entry) if "low" in entry else Choice(**entry)
        for key, entry in _flatten(load_standard(name)).items()
    }
    loaded, problems = load_toml(path)
    own = _flatten(loaded)
    file = path.name if path else name
    settings = dict(standard)
    for key, came in own.items():
        if key not in standard:
            problems.append(_tell_unknown(file, key, standard))
            continue
        try:
            settings[key] = _complete(came, standard[key], f"this book's {file}")
        except ValidationError as err:
            problems.append(_tell(file, key, dict(err.errors()[0]), standard[key]))
    while True:
        try:
            return _build(model, settings), list_problems(problems)
        except ValidationError as err:
            # what is refused goes back to the standard, with what it contradicts
            for key, refused in _refused(err).items():
                keys = [one for one in _keys(key, refused) if settings[one] != standard[one]]
                if not keys:
                    message = f"the standard {name} is broken: {err}"
                    raise RateError(message) from err
                problems.append(_tell(file, keys[0], refused, standard[keys[0]]))
                settings |= {one: standard[one] for one in keys}


@cache
def load_standard(name: str) -> dict[str, Any]:
    """Load a standard file, to be read only."""
    text = files("scanner.book").joinpath("standard", name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def _complete(came: Any, usual: Setting, source: str) -> Setting:  # noqa: ANN401  # whatever TOML holds
    """Fill in what a setting leaves out; a value alone widens the usual spread."""
    parts = dict(came) if isinstance(came, dict) else {"value": came}
    parts = {"value": usual.value, **parts, "source": parts.get("source") or source}
    if isinstance(usual, Choice):
        return Choice(**parts)
    number = parts["value"] if isinstance(parts["value"], int | float) else usual.value
    return Rate(**{"low": min(usual.low, number), "high": max(usual.high, number), **parts})


def _build(model: type[_Document], settings: Mapping[str, Setting]) -> _Document:
    """Make the document: a rate book of whole rates, local rules of values with their sources apart."""
    has_sources = "sources" in model.model_fields
    fields: dict[str, Any] = {}
    if has_sources:
        fields["sources"] = {key: setting.source for key, setting in settings.items()}
    for key, setting in settings.items():
        group, _, name = key.rpartition(".")
        place = fields.setdefault(group, {}) if group else fields
        is_whole = isinstance(setting, Rate) and not has_sources
        place[name] = setting if is_whole else setting.value
    return model.model_validate(fields)


def _refused(err: ValidationError) -> dict[str, Error]:
    """Give the first error of each setting; blank where several contradict each other."""
    refused: dict[str, Error] = {}
    for error in err.errors():
        key = ".".join(part for part in error["loc"] if isinstance(part, str))
        refused.setdefault(key, dict(error))
    return refused


def _refusal(error: Error) -> SettingError | None:
    came = error.get("ctx", {}).get("error")
    return came if isinstance(came, SettingError) else None


def _keys(key: str, error: Error) -> tuple[str, ...]:
    refusal = _refusal(error)
    return refusal.keys if refusal and refusal.keys else (key,)


def _tell(file: str, key: str, error: Error, usual: Setting) -> Problem:
    """Turn an error of pydantic's into a problem row."""
    problem, remedy = _words(error, usual)
    if isinstance(usual, Rate) and _refusal(error):
        remedy = f"{remedy}; the standard value is {usual.value:g}"
    return fault(file, key, f"{problem}; the standard value is used instead", remedy)


def _words(error: Error, usual: Setting) -> tuple[str, str]:
    came, kind = shown(error["input"]), error["type"]
    part = next(iter(error["loc"][-1:]), "value")
    if refusal := _refusal(error):
        return refusal.problem, refusal.remedy
    if kind == "extra_forbidden":
        known = "value, low, high and source" if isinstance(usual, Rate) else "value and source"
        return f"'{part}' stands in it; {known} are known", "take it out"
    if kind == "literal_error":
        expected = error["ctx"]["expected"]
        return f"{came} came; {expected} is allowed", f"write {expected}"
    if kind in ("tuple_type", "too_short"):
        wanted = ", ".join(f'"{word}"' for word in tuple(usual.value))  # type: ignore[arg-type]
        return f"{came} came where a list of words belongs", f"write a list as [{wanted}]"
    is_day = kind.startswith("date")
    if is_day or kind == "string_type":
        what = "a day" if is_day else "words in quotation marks"
        remedy = "write days as [2026-04-24]" if is_day else 'write it as "words"'
        return f"{came} came where {what} belong{'s' * is_day}", remedy
    return f"{part} is {came}, where a number belongs", "write a number without quotation marks"


def _tell_unknown(file: str, key: str, known: Iterable[str]) -> Problem:
    names = list(known)
    group, _, last = key.rpartition(".")
    if group and last in names:
        problem = f"{last} stands under [{group}], where it means nothing; it is passed over"
        remedy = f"move the line {last} to the top of the file, above every [ ]"
        return fault(file, key, problem, remedy)
    near = get_close_matches(key, names, n=1, cutoff=_ALIKE) or [
        name for name in names if name.endswith(f".{last}")
    ]
    near = near or get_close_matches(last, names, n=1, cutoff=_ALIKE)
    remedy = f"write {near[0]}, or take the line out" if near else "take the line out"
    return fault(file, key, f"no setting has the name {shown(key)}; it is passed over", remedy)


def load_toml(path: Path | None) -> tuple[dict[str, Any], list[Problem]]:
    """Load a firm's own file as it stands; none is no setting, one that cannot be read a fault."""
    if path is None or not path.is_file():
        return {}, []
    try:
        return tomllib.loads(_text_of(path)), []
    except UnicodeDecodeError:
        problem = "the letters are not saved as UTF-8; the whole file is passed over for the standard values"
        return {}, [fault(path.name, "", problem, "save the file again with the encoding UTF-8")]
    except (ValueError, RecursionError) as err:
        problem = f"the file cannot be read ({err}); the whole file is passed over for the standard values"
        remedy = "each line is a name, an equals sign and a number, or words in quotation marks: bed_depth_ft = 4"
        return {}, [fault(path.name, "", problem, remedy)]


def _text_of(path: Path) -> str:
    with path.open("rb") as stream:
        text = stream.read(MAX_SETTINGS_BYTES + 1).decode("utf-8-sig")
    if len(text) >= MAX_SETTINGS_BYTES or max(map(len, text.split("\n"))) > MAX_SETTING_LETTERS:
        message = (
            f"more than {MAX_SETTINGS_BYTES:,} letters in it, or {MAX_SETTING_LETTERS:,} in a line"
        )
        raise ValueError(message)
    return text


_MOST_GROUPS = 5
"""Groups within each other; no setting lies so deep."""


def _flatten(document: Mapping[str, Any], prefix: str = "") -> dict[str, Any]:
    entries: dict[str, Any] = {}
    for key, entry in document.items():
        # an inline table of value, low, high is one setting, another table is a group
        is_group = isinstance(entry, dict) and not (entry and entry.keys() & _PARTS)
        if is_group and prefix.count(".") < _MOST_GROUPS:
            entries |= _flatten(entry, f"{prefix}{key}.")
        else:
            entries[prefix + key] = entry
    return entries
