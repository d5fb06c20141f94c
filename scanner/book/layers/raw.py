"""What a file of site features holds before anything in it is checked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from scanner.sheets.problems import Problem


@dataclass(frozen=True)
class RawLayer:
    """One layer of a file as it was read."""

    name: str  # the layer's name; blank where a file has one layer only
    fields: pd.DataFrame  # one row a feature, whatever columns the file has
    # one shape a feature in the layer's own coordinates; None where there is none
    shapes: NDArray[np.object_]
    crs: CRS | None  # the coordinates' reference system; None where the file declares none
    # whether a problem row tells of the shape already; None where none does
    is_told: NDArray[np.bool_] | None = None
    # what is wrong with shapes and file, found while reading
    problems: list[Problem] = field(default_factory=list)


def join_batches(batches: Iterable[RawLayer]) -> RawFile:
    """Make whole layers of batches that follow one another."""
    layers = list[RawLayer]()
    for _, group in groupby(batches, key=lambda batch: batch.name):
        several = list(group)
        shapes = np.concatenate([batch.shapes for batch in several])
        told = [
            np.zeros(len(one.shapes), bool) if one.is_told is None else one.is_told
            for one in several
        ]
        fields = pd.concat([batch.fields for batch in several], ignore_index=True)
        first = several[0]
        layers.append(RawLayer(first.name, fields, shapes, first.crs, np.concatenate(told)))
        layers[-1].problems.extend(problem for batch in several for problem in batch.problems)
    return RawFile(layers, [problem for layer in layers for problem in layer.problems])


@dataclass(frozen=True)
class RawFile:
    """The layers of one file, and what is wrong with the file as a whole."""

    layers: list[RawLayer] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
