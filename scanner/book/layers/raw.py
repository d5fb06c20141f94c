"""What a file of site features holds before anything in it is checked."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from scanner.sheets.problems import Problem


@dataclass(frozen=True)
class RawLayer:
    """
    One layer of a file as it was read.

    Attributes
    ----------
    name
        The layer's name; blank where a file has one layer only.
    fields
        One row a feature, whatever columns the file has.
    shapes
        One shape a feature in the layer's own coordinates; None where there is none.
    crs
        The coordinates' reference system; None where the file declares none.
    is_told
        Whether a problem row tells of the shape already; None where none does.
    """

    name: str
    fields: pd.DataFrame
    shapes: NDArray[np.object_]
    crs: CRS | None
    is_told: NDArray[np.bool_] | None = None


@dataclass(frozen=True)
class RawFile:
    """The layers of one file, and what is wrong with the file as a whole."""

    layers: list[RawLayer] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
