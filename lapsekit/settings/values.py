"""Kinds of value that settings are made of."""

import re
from contextlib import suppress
from datetime import date, datetime, time
from typing import Annotated, Literal, NamedTuple

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainValidator,
)


def written_as(pattern: str, words: str) -> AfterValidator:
    """Text that a pattern fits as a whole; `words` say what to write where it does not."""
    allowed = re.compile(pattern)

    def fitting(value: str) -> str:
        if allowed.fullmatch(value) is None:
            raise ValueError(words)
        return value

    return AfterValidator(fitting)


Name = Annotated[
    str,
    written_as(
        r"[a-z0-9][a-z0-9-]{0,39}",
        "use lower-case letters, digits and hyphens, at most 40, a letter or digit first",
    ),
]

_SUN_TIME = re.compile(r"(sunrise|noon|sunset)(?:\s*([+-])\s*(\d{1,2}):([0-5]\d))?")


class SunTime(NamedTuple):
    """A time of day by the sun: so many minutes after (or, negative, before) one of its events."""

    event: Literal["sunrise", "noon", "sunset"]
    minutes: int = 0


def _day(value: object) -> object:
    """A TOML date, or text like it; never a number, which would count days or seconds."""
    if isinstance(value, str):
        with suppress(ValueError):
            return date.fromisoformat(value)
    if not isinstance(value, date) or isinstance(value, datetime):
        raise ValueError("write a day like 2031-04-17")
    return value


def _clock_time(value: object) -> object:
    """A TOML time, or text like "08:30"; never a number, and no offset."""
    if isinstance(value, str):
        with suppress(ValueError):
            value = time.fromisoformat(value)
    if not isinstance(value, time) or value.tzinfo is not None:
        raise ValueError('write a time of day like "08:30", in the season\'s time zone')
    return value


def _moment(value: object) -> object:
    """A clock time as above, or one by the sun, like "sunrise", "noon" or "sunset - 1:30"."""
    found = _SUN_TIME.fullmatch(value.strip()) if isinstance(value, str) else None
    if found is None:
        try:
            return _clock_time(value)
        except ValueError as error:
            raise ValueError(
                f'{error}; or by the sun: "sunrise", "noon", "sunset", "sunrise + 0:30"'
            ) from error
    event, sign, hours, minutes = found.groups()
    after = int(hours) * 60 + int(minutes) if sign else 0
    return SunTime(event, -after if sign == "-" else after)


Day = Annotated[date, BeforeValidator(_day)]
ClockTime = Annotated[time, BeforeValidator(_clock_time)]
DayTime = Annotated[time | SunTime, PlainValidator(_moment)]
Coordinate = Annotated[float, Field(allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
Point = Annotated[tuple[Coordinate, Coordinate], Field(strict=False)]
Points = Annotated[tuple[Point, ...], Field(strict=False)]
Length = Annotated[float, Field(gt=0, le=10_000)]


class Model(BaseModel):
    """Frozen, strict about types, and without room for keys nobody knows."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)


Degrees = Annotated[float, Field(ge=-20, le=60)]
