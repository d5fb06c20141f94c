"""The plants: what stands in `plants.toml`, one record a species."""

from __future__ import annotations

import re
from typing import Annotated, Literal, get_args

from pydantic import Field, Strict, field_validator

from scanner.schema.figures import SettingError, Settings, figure
from scanner.schema.rate_book import PlantSize, YesNo

Light = Literal["sun", "part", "shade"]
"""Sun most of the day · half of it · less."""

LIGHTS: tuple[Light, ...] = get_args(Light)

Number = Annotated[float, Strict()]

HIGHEST_ZONE = 13.5
"""Zones go from 1a to 13b (USDA plant hardiness zone map, 2023)."""

_ZONES = re.compile(r"(\d{1,2}[ab]?)(?:-(\d{1,2}[ab]?)| up)")


def zone_span(zone: str) -> tuple[float, float]:
    """
    Turn a hardiness zone (``5``, ``5a``) into its coldest and mildest half as numbers; a half is worth 0.5.

    >>> zone_span("5"), zone_span("6b")
    ((5.0, 5.5), (6.5, 6.5))
    """
    number, half = float(zone.rstrip("ab")), zone[-1]
    return number + 0.5 * (half == "b"), number + 0.5 * (half != "a")


class Plant(Settings):
    """A species: its names, how large it grows, where it lives, how it is sold."""

    one: str = Field(min_length=1, title="name of one", description='its name, as "daylily"')
    many: str = Field(min_length=1, title="name of several", description='as "daylilies"')
    botanical: str = Field(min_length=1, title="botanical name", description="its botanical name")
    height_in: Number = figure("height", 0.5, 600, "a number, grown up with its flower stalks")
    spread_in: Number = figure("spread", 0.5, 1200, "a number, the width grown up")
    zones: str = Field(title="USDA hardiness zones", description='as "3-9", "6b-8" or "3 up"')
    sun: tuple[Light, ...] = Field(
        min_length=1, title="sun that it stands", description='a list of "sun", "part", "shade"'
    )
    sizes: tuple[PlantSize, ...] = Field(
        min_length=1, title="sizes sold", description='a list of "1gal", "3gal", "5gal"'
    )
    price_usd: dict[PlantSize, Annotated[float, Strict(), Field(ge=0, le=5000)]] = Field(
        {}, title="own price by size", description="own prices, as { 1gal = 9.5 }"
    )
    flat_count: Annotated[int, Strict()] = Field(
        1,
        title="pots to a flat",
        description="a whole number, 1: sold singly",
        json_schema_extra={"minimum": 1, "maximum": 500},
    )
    offered: YesNo = Field("yes", title="offered", description='"yes" or "no"')
    source: str = Field(min_length=1, title="source", description="where the figures come from")

    @property
    def zone_span(self) -> tuple[float, float]:
        """
        Say from which zone to which it lives.

        Halves of zones as numbers, as `zone_span` gives them.
        """
        first, last = (_ZONES.fullmatch(self.zones) or _ZONES.match("1 up")).groups()  # type: ignore[union-attr]
        return zone_span(first)[0], zone_span(last)[1] if last else HIGHEST_ZONE

    @field_validator("zones")
    @classmethod
    def _known(cls, zones: str) -> str:
        parts = _ZONES.fullmatch(zones)
        ends = [zone_span(zone) for zone in parts.groups() if zone] if parts else []
        if not ends or not 1 <= ends[0][0] <= ends[-1][1] <= HIGHEST_ZONE:
            problem = f"zones '{zones}' came; zones from 1 to 13 are allowed, the coldest first"
            raise SettingError(problem, 'write zones as "3-9", "6b-8" or "3 up"')
        return zones
