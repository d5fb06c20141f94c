"""``plants.toml``: the standard species, with what a firm's own file adds, changes or takes off."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
from pydantic import ValidationError

from scanner.book.settings import load_standard, load_toml
from scanner.schema.figures import SettingError
from scanner.schema.plant_list import Plant
from scanner.sheets.problems import fault, list_problems, shown


def read_plants(path: Path | None) -> tuple[dict[str, Plant], pd.DataFrame]:
    """Read a firm's species, which come first, and the standard ones; a faulty one is listed and left as it was.

    >>> plants, problems = read_plants(None)
    >>> plants["daylily"].many, plants["daylily"].zones, len(problems)
    ('daylilies', '3 up', 0)
    """
    standard: dict[str, dict[str, Any]] = load_standard("plants.toml")
    loaded, problems = load_toml(path)
    file = path.name if path else "plants.toml"
    plants = {name: Plant.model_validate(figures) for name, figures in standard.items()}
    own = dict[str, Plant]()
    for name, told in loaded.items():
        usual, base = (
            plants.pop(name, None),
            {"source": f"this book's {file}", **standard.get(name, {})},
        )
        try:
            own[name] = Plant.model_validate({**base, **_table(told)})
        except (ValidationError, SettingError) as err:
            words = _words(err)
            end = "the standard species stands" if usual else "the species is left out"
            problems.append(fault(file, name, f"{words[0]}; {end}", words[1]))
            own |= {name: usual} if usual else {}
    offered = {name: plant for name, plant in {**own, **plants}.items() if plant.offered == "yes"}
    return offered, list_problems(problems)


def _table(told: object) -> dict[str, Any]:
    if not isinstance(told, dict):
        problem = f"{shown(told)} came where a species belongs"
        raise SettingError(problem, "begin it with its name in brackets, as [daylily]")
    return told


def _words(err: ValidationError | SettingError) -> tuple[str, str]:
    """Say the first thing that is wrong with a species and what to do about it."""
    if isinstance(err, SettingError):
        return err.problem, err.remedy
    error = err.errors()[0]
    name, came = str(error["loc"][0]), shown(error["input"])
    refusal = error.get("ctx", {}).get("error")
    if isinstance(refusal, SettingError):
        return f"{name}: {refusal.problem}", refusal.remedy
    if name not in Plant.model_fields:
        return (
            f"{name} is nothing that a species has",
            f"take the line out; {', '.join(Plant.model_fields)} are known",
        )
    what = f"write {name}: {Plant.model_fields[name].description}"
    if error["type"] == "missing":
        return f"{name} is missing", what
    return f"{name}: {came} came", what
