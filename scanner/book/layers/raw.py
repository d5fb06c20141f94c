"""What a file of site features holds before anything in it is checked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import groupby

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from scanner.sheets.problems import Problem


@dataclass(frozen=True)
class RawLayer:
    """One layer of a file as it was read, or a batch of its features."""

    name: str  # blank where a file has one layer only
    fields: pd.DataFrame  # one row a feature, whatever columns the file has
    shapes: NDArray[np.object_]  # in the layer's own coordinates; None where there is none
    crs: CRS | None  # None where the file declares none
    problems: list[Problem] = field(default_factory=list)  # found while reading
    is_told: NDArray[np.bool_] | bool = False  # whether a problem row tells of the shape already


def join_batches(batches: Iterable[RawLayer]) -> list[RawLayer]:
    """Make whole layers of batches that follow one another."""
    layers = list[RawLayer]()
    for _, group in groupby(batches, key=lambda batch: batch.name):
        several = list(group)
        told = [np.broadcast_to(batch.is_told, len(batch.shapes)) for batch in several]
        layers.append(
            replace(
                several[0],
                fields=pd.concat([batch.fields for batch in several], ignore_index=True),
                shapes=np.concatenate([batch.shapes for batch in several]),
                problems=[problem for batch in several for problem in batch.problems],
                is_told=np.concatenate(told),
            )
        )
    return layers
