"""What the rate book and the local rules are made of: one record a setting, checked as it is read."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator


class Document(BaseModel):
    """A frozen document that refuses names it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class SettingError(ValueError):
    """
    What is wrong with a setting and what to do about it, for the table of problems.

    ``keys``: settings that contradict each other; none: the one that is checked.
    """

    def __init__(self, problem: str, remedy: str, *keys: str) -> None:
        super().__init__(problem)
        self.problem, self.remedy, self.keys = problem, remedy, keys


def figure(words: str, least: float, most: float, meaning: str = "") -> Any:  # noqa: ANN401  # as pydantic's Field
    """
    Describe a number of the rate book or the local rules: its one record, a field of a `Settings`.

    ``words``: what a reader calls it, without its unit; ``least``, ``most``: bounds in the unit
    that the name ends in, with a least of 0 it may be nothing; ``meaning``: what more there is to
    say.
    """
    return Field(
        title=words,
        description=meaning or words,
        json_schema_extra={"minimum": least, "maximum": most},
    )


class Rate(Document):
    """One figure with its spread and where it comes from."""

    value: float = Field(
        strict=True, description="the figure used, in the unit that its name ends in"
    )
    low: float = Field(strict=True, description="low end of what is usual, same unit")
    high: float = Field(strict=True, description="high end of what is usual, same unit")
    source: str = Field(min_length=1, description="where the figure comes from")

    @model_validator(mode="after")
    def _ordered(self) -> Rate:
        if not self.low <= self.value <= self.high:
            problem = (
                f"low {self.low:g}, value {self.value:g}, high {self.high:g} came; low may not be above value, "
                "nor value above high"
            )
            raise SettingError(problem, "put the three in order, or write the value alone")
        return self


class Settings(Document):
    """Settings, each within the bounds of its record."""

    @field_validator("*")
    @classmethod
    def _bounded(cls, came: Any, info: ValidationInfo) -> Any:  # noqa: ANN401  # whatever the field holds
        record = cls.model_fields[info.field_name or ""].json_schema_extra
        if not isinstance(record, dict):
            return came
        least, most = float(str(record["minimum"])), float(str(record["maximum"]))
        parts = ("value", "low", "high") if isinstance(came, Rate) else ()
        numbers = {part: getattr(came, part) for part in parts} or {"value": came}
        for part, number in numbers.items():
            # what is usual may begin at nothing, though none at all is no setting
            floor = least if part == "value" else min(least, 0.0)
            if not floor <= number <= most:
                is_share = str(info.field_name).endswith("_share")
                remedy = (
                    "write a share of one: 0.45 is 45 %"
                    if is_share
                    else "mind the unit that the name ends in"
                )
                problem = f"{part} is {number:g}; from {floor:g} to {most:g} is allowed"
                raise SettingError(problem, remedy)
        return came
