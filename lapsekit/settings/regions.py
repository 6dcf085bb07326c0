"""regions.toml as frozen, validated models."""

from collections.abc import Sequence
from datetime import date
from functools import cached_property
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from lapsekit.settings.tables import require_cap_above
from lapsekit.settings.values import Day, Degrees, Model, Name, Point, Points


class Outline(Model):
    """One outline of a region, valid from a day on; without points, the whole picture."""

    valid_from: Annotated[Day, Field(alias="from")]
    points: Points | None = None

    @field_validator("points")
    @classmethod
    def _encloses_something(cls, points: Points | None) -> Points | None:
        if points is None:
            return None
        if len(points) < 3:
            raise ValueError(f"an outline needs at least three points, this one has {len(points)}")
        if _crosses_itself(points):
            raise ValueError("the outline crosses itself; list its points in order around the pot")
        if abs(_signed_area(points)) < 1:
            raise ValueError("the outline encloses nothing; its points lie on one line")
        return points


class Region(Model):
    """A region of interest: one plant, tray or bed, seen by one camera."""

    name: Name
    label: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    camera: Name
    sown: Day | None = None
    group: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    base_c: Degrees | None = None
    cap_c: Degrees | None = None
    until: Day | None = None
    ended: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    outline: Annotated[tuple[Outline, ...], Field(strict=False, min_length=1)]

    @model_validator(mode="after")
    def _cap_above_base(self) -> Self:
        require_cap_above(self.base_c, self.cap_c)
        return self

    @field_validator("outline")
    @classmethod
    def _one_a_day(cls, outlines: tuple[Outline, ...]) -> tuple[Outline, ...]:
        days = [o.valid_from for o in outlines]
        if len(set(days)) < len(days):
            raise ValueError("two outlines are valid from the same day; keep one of them")
        return tuple(sorted(outlines, key=lambda o: o.valid_from))

    @model_validator(mode="after")
    def _ends_after_it_begins(self) -> Self:
        first = self.outline[0].valid_from
        if self.until is not None and self.until < first:
            raise ValueError(f"until ({self.until}) lies before its first outline ({first})")
        if self.ended is not None and self.until is None:
            raise ValueError("ended says how it ended; give until, the last day it is measured")
        return self

    @property
    def title(self) -> str:
        """What a page calls the region."""
        return self.label or self.name.replace("-", " ").capitalize()

    @property
    def is_outlined(self) -> bool:
        """Whether an outline of it has points; without any it is the whole picture."""
        return any(outline.points is not None for outline in self.outline)

    def has_ended(self, day: date) -> bool:
        """Whether `day` lies after the last one on which the region is measured."""
        return self.until is not None and day > self.until

    def outline_on(self, day: date) -> Outline | None:
        """The outline valid on `day`; None before the first, and after the region's end."""
        if self.has_ended(day):
            return None
        return next((o for o in reversed(self.outline) if o.valid_from <= day), None)


class Regions(Model):
    """regions.toml as a whole."""

    region: Annotated[tuple[Region, ...], Field(strict=False)] = ()

    @field_validator("region")
    @classmethod
    def _names_differ(cls, regions: tuple[Region, ...]) -> tuple[Region, ...]:
        names = [r.name for r in regions]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f'two regions are named "{name}"; each needs a name of its own')
        return regions

    @cached_property
    def by_name(self) -> dict[str, Region]:
        """Regions by their names, in the file's order."""
        return {r.name: r for r in self.region}

    @cached_property
    def plants(self) -> tuple[Region, ...]:
        """Regions that are plants, as `plants_among` tells them."""
        return plants_among(self.region)


def plants_among(regions: Sequence[Region]) -> tuple[Region, ...]:
    """Regions that are counted, added up, drawn together and held against each other.

    A region that is a camera's whole picture holds every plant outlined in it: beside them it would
    count each a second time, and press them flat. Where its camera has no outlines it is one.
    """
    outlined = {region.camera for region in regions if region.is_outlined}
    return tuple(r for r in regions if r.is_outlined or r.camera not in outlined)


def _signed_area(points: Points) -> float:
    """Shoelace area in square pixels, positive where y points down and order is clockwise."""
    ends = points[1:] + points[:1]
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(points, ends, strict=True)) / 2


def _crosses_itself(points: Points) -> bool:
    """Whether any two edges that are not neighbours cross properly."""
    edges = list(zip(points, points[1:] + points[:1], strict=True))

    def side(a: Point, b: Point, c: Point) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    return any(
        side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0
        for i, (a, b) in enumerate(edges)
        for c, d in edges[i + 2 :]
    )
