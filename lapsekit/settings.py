"""season.toml and regions.toml as frozen, validated models.

A value that cannot be used is refused with the file, the key's path, the value and what is
allowed (:class:`~lapsekit.errors.SettingsError`); nothing is guessed or silently corrected.
"""

import math
import re
import tomllib
from collections.abc import Iterable
from datetime import date, datetime, time
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal, NamedTuple, Self, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PositiveInt,
    StringConstraints,
    ValidationError,
    field_validator,
    model_validator,
)

from lapsekit.errors import SettingsError
from lapsekit.refusals import refusals

Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$")]


def _day(value: object) -> object:
    """A TOML date, or text like it; never a number, which would count days or seconds."""
    if isinstance(value, str):
        return date.fromisoformat(value)
    if not isinstance(value, date) or isinstance(value, datetime):
        raise ValueError("write a day like 2031-04-17")
    return value


def _clock_time(value: object) -> object:
    """A TOML time, or text like "08:30"; never a number, and no offset."""
    if isinstance(value, str):
        value = time.fromisoformat(value)
    if not isinstance(value, time) or value.tzinfo is not None:
        raise ValueError('write a time of day like "08:30", in the season\'s time zone')
    return value


Day = Annotated[date, BeforeValidator(_day)]
ClockTime = Annotated[time, BeforeValidator(_clock_time)]
Coordinate = Annotated[float, Field(allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
Point = Annotated[tuple[Coordinate, Coordinate], Field(strict=False)]
Points = Annotated[tuple[Point, ...], Field(strict=False)]
Length = Annotated[float, Field(gt=0, le=10_000)]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


Degrees = Annotated[float, Field(ge=-20, le=60)]


def _require_cap_above(base_c: float | None, cap_c: float | None) -> None:
    if base_c is not None and cap_c is not None and cap_c <= base_c:
        raise ValueError(f"cap_c ({cap_c:g}) must lie above base_c ({base_c:g})")


class SeasonTable(_Model):
    """``[season]``: what is grown, since when, and whose midnight ends a day."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    time_zone: str
    sown: Day
    about: str = ""
    base_c: Degrees = 5.0
    cap_c: Degrees | None = None

    @model_validator(mode="after")
    def _cap_above_base(self) -> Self:
        _require_cap_above(self.base_c, self.cap_c)
        return self

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError) as error:
            raise ValueError(
                'not a time zone of the IANA database; write one like "UTC" or "Area/City"'
            ) from error
        return value

    @property
    def zone(self) -> ZoneInfo:
        """The season's time zone."""
        return ZoneInfo(self.time_zone)


class Scale(NamedTuple):
    """How a camera's centimetres are known; at most one way is given, the others are None."""

    px_per_cm: float | None = None
    points: tuple[Point, Point] | None = None
    length_cm: float | None = None
    rectangle: Points | None = None
    sides_cm: tuple[float, float] | None = None
    tag_side_cm: float | None = None

    @property
    def is_known(self) -> bool:
        """Whether there is a scale at all."""
        return self != Scale()

    @property
    def needs_tag(self) -> bool:
        """Whether it is read off a printed tag in the reference frame."""
        return self.tag_side_cm is not None


class LensTable(_Model):
    """``[cameras.NAME.lens]``: a lens's distortion, as ``lapsekit lens`` finds it."""

    size_px: Annotated[tuple[PositiveInt, PositiveInt], Field(strict=False)]
    focal_px: Length
    centre_px: Point
    radial: Annotated[tuple[float, float], Field(strict=False)]


class _Camera(_Model):
    reference: Annotated[str, Field(min_length=1)] | None = None
    px_per_cm: Length | None = None
    scale_points: Annotated[tuple[Point, Point], Field(strict=False)] | None = None
    scale_length_cm: Length | None = None
    scale_rectangle: Annotated[tuple[Point, Point, Point, Point], Field(strict=False)] | None = None
    scale_sides_cm: Annotated[tuple[Length, Length], Field(strict=False)] | None = None
    tag_side_cm: Length | None = None
    grey_card: Annotated[Points, Field(strict=False, min_length=3)] | None = None
    height_cm: Length | None = None
    lens: LensTable | None = None

    @model_validator(mode="after")
    def _one_scale(self) -> "_Camera":
        by_length = (self.scale_points is not None, self.scale_length_cm is not None)
        by_sides = (self.scale_rectangle is not None, self.scale_sides_cm is not None)
        if any(by_length) and not all(by_length):
            raise ValueError("scale_points and scale_length_cm belong together; give both")
        if any(by_sides) and not all(by_sides):
            raise ValueError("scale_rectangle and scale_sides_cm belong together; give both")
        ways = [self.px_per_cm is not None, any(by_length), any(by_sides)]
        if sum([*ways, self.tag_side_cm is not None]) > 1:
            raise ValueError(
                "give one scale: px_per_cm, scale_points with scale_length_cm, scale_rectangle "
                "with scale_sides_cm, or tag_side_cm"
            )
        if self.scale_points is not None and math.dist(*self.scale_points) < 1:
            raise ValueError("the two scale_points are the same place; take two that lie apart")
        return self

    @property
    def scale(self) -> Scale:
        """How centimetres on the bench are known."""
        return Scale(
            self.px_per_cm,
            self.scale_points,
            self.scale_length_cm,
            self.scale_rectangle,
            self.scale_sides_cm,
            self.tag_side_cm,
        )


class FilesCamera(_Camera):
    """Pictures come by ``lapsekit import`` only; nothing is captured."""

    kind: Literal["files"]


class UsbCamera(_Camera):
    """A camera on USB, read through Video4Linux."""

    kind: Literal["usb"]
    device: Annotated[int, Field(ge=0, le=63)] = 0
    width: Annotated[int, Field(ge=160, le=16_000)] | None = None
    height: Annotated[int, Field(ge=120, le=16_000)] | None = None
    warm_up_frames: Annotated[int, Field(ge=0, le=300)] = 10
    jpeg_quality: Annotated[int, Field(ge=50, le=100)] = 92

    @model_validator(mode="after")
    def _whole_size(self) -> "UsbCamera":
        if (self.width is None) != (self.height is None):
            raise ValueError("width and height belong together; give both, or neither")
        return self


class CommandCamera(_Camera):
    """Any program that writes one picture to standard output, or to the file ``{file}``."""

    kind: Literal["command"]
    command: Annotated[tuple[str, ...], Field(strict=False, min_length=1)]
    time_limit_s: Annotated[float, Field(gt=0, le=600)] = 30.0


class HttpCamera(_Camera):
    """A still picture under an address; the password stands in a file of its own."""

    kind: Literal["http"]
    url: Annotated[str, StringConstraints(pattern=r"^https?://[^\s@]+$")]
    user: Annotated[str, Field(min_length=1)] | None = None
    password_file: Annotated[str, Field(min_length=1)] | None = None
    time_limit_s: Annotated[float, Field(gt=0, le=600)] = 30.0

    @model_validator(mode="after")
    def _both_or_neither(self) -> "HttpCamera":
        if (self.user is None) != (self.password_file is None):
            raise ValueError("user and password_file belong together; give both, or neither")
        return self


class ReplayCamera(_Camera):
    """Plays a folder of dated frames (named as lapsekit files them) again."""

    kind: Literal["replay"]
    folder: Annotated[str, Field(min_length=1)]


Camera = Annotated[
    FilesCamera | UsbCamera | CommandCamera | HttpCamera | ReplayCamera, Field(discriminator="kind")
]


class CaptureTable(_Model):
    """``[capture]``: when frames are taken, by the clock on the wall."""

    every_minutes: Annotated[int, Field(ge=1, le=1440)] = 30
    first: Annotated[ClockTime, Field(alias="from")] = time(8, 0)
    last: Annotated[ClockTime, Field(alias="until")] = time(18, 0)
    daily_at: ClockTime = time(12, 0)

    @model_validator(mode="after")
    def _window(self) -> "CaptureTable":
        if self.first > self.last:
            raise ValueError(
                f"from ({self.first:%H:%M}) must not be later than until ({self.last:%H:%M})"
            )
        return self


class MorningTable(_Model):
    """``[morning]``: when the day's frames are measured and the site is made again."""

    at: ClockTime = time(6, 30)


class PublishTable(_Model):
    """``[publish]``: where the site goes, and how."""

    to: Literal["folder", "rsync", "rclone"] | None = None
    target: Annotated[str, StringConstraints(pattern=r"^[^-\x00-\x1f][^\x00-\x1f]*$")] | None = None
    bandwidth_kb_s: PositiveInt | None = None
    time_limit_s: Annotated[float, Field(gt=0, le=86_400)] = 3600.0
    ssh_port: Annotated[int, Field(ge=1, le=65_535)] | None = None
    ssh_key: str | None = None
    rclone_config: str | None = None

    @model_validator(mode="after")
    def _place(self) -> "PublishTable":
        target = self.target or ""
        if self.to == "folder" and re.match(r"[^/]+:", target):
            raise ValueError('target must be a folder; for HOST:FOLDER write to = "rsync"')
        if self.to == "rsync" and target and not re.match(r"/|[^/:]+:", target):
            raise ValueError(
                f'target "{target}" must be HOST:FOLDER, or a folder that begins with /'
            )
        if self.to == "rclone" and target and not re.fullmatch(r"[\w. @+-]+:[^,]*", target):
            raise ValueError(
                "target must be REMOTE:PATH of a remote that rclone config knows; what logs in "
                "there belongs into rclone's own file"
            )
        return self


class ScreeningTable(_Model):
    """``[screening]``: fixed limits instead of what the season's own frames teach."""

    dark_below: Share | None = None
    blown_above: Share | None = None
    blurred_above: Share | None = None


class RegistrationTable(_Model):
    """``[registration]``: holding frames to the reference view."""

    use: bool = True


class CanopyTable(_Model):
    """``[canopy]``: what counts as plant."""

    method: Literal[
        "model", "exg", "exgr", "cive", "veg", "com", "mexg", "gli", "vari", "ndi", "ngrdi", "lab_a"
    ] = "model"
    model_file: str | None = None
    correct_height: bool = False


class FilmTable(_Model):
    """``[film]``: the season's film."""

    frames: Literal["daily", "all"] = "daily"
    frames_per_second: Annotated[int, Field(ge=1, le=60)] = 12
    height_px: Annotated[int, Field(ge=120, le=2160)] = 720
    caption: bool = True


class Settings(_Model):
    """season.toml as a whole."""

    season: SeasonTable
    cameras: Annotated[dict[Name, Camera], Field(min_length=1)]
    capture: CaptureTable = CaptureTable()
    morning: MorningTable = MorningTable()
    publish: PublishTable = PublishTable()
    screening: ScreeningTable = ScreeningTable()
    registration: RegistrationTable = RegistrationTable()
    canopy: CanopyTable = CanopyTable()
    film: FilmTable = FilmTable()

    @model_validator(mode="after")
    def _heights_known(self) -> "Settings":
        without = [name for name, camera in self.cameras.items() if camera.height_cm is None]
        if self.canopy.correct_height and without:
            raise ValueError(
                "canopy.correct_height = true needs to know how high the lens hangs over the "
                f"bench: give cameras.{without[0]}.height_cm"
            )
        return self


class Outline(_Model):
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


class Region(_Model):
    """A region of interest: one plant, tray or bed, seen by one camera."""

    name: Name
    label: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    camera: Name
    sown: Day | None = None
    group: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    base_c: Degrees | None = None
    cap_c: Degrees | None = None
    outline: Annotated[tuple[Outline, ...], Field(strict=False, min_length=1)]

    @model_validator(mode="after")
    def _cap_above_base(self) -> Self:
        _require_cap_above(self.base_c, self.cap_c)
        return self

    @field_validator("outline")
    @classmethod
    def _one_a_day(cls, outlines: tuple[Outline, ...]) -> tuple[Outline, ...]:
        days = [o.valid_from for o in outlines]
        if len(set(days)) < len(days):
            raise ValueError("two outlines are valid from the same day; keep one of them")
        return tuple(sorted(outlines, key=lambda o: o.valid_from))

    @property
    def title(self) -> str:
        """What a page calls the region."""
        return self.label or self.name.replace("-", " ").capitalize()

    def outline_on(self, day: date) -> Outline | None:
        """The outline valid on `day`; None before the first."""
        return next((o for o in reversed(self.outline) if o.valid_from <= day), None)


class Regions(_Model):
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


def load_settings(path: Path) -> Settings:
    """Read season.toml.

    Raises
    ------
    SettingsError
        If the file cannot be read, is not TOML, or holds a value that is not allowed.
    """
    return _load(path, Settings)


def load_regions(path: Path, settings: Settings) -> Regions:
    """Read regions.toml and check its cameras against `settings`; a missing file is no regions.

    Raises
    ------
    SettingsError
        If the file holds a value that is not allowed, or names a camera that season.toml has not.
    """
    if not path.exists():
        return Regions()
    regions = _load(path, Regions)
    for number, region in enumerate(regions.region, start=1):
        if region.camera not in settings.cameras:
            raise SettingsError(
                f'{path}: region {number} ("{region.name}"): camera = "{region.camera}" is not a '
                f"camera of season.toml; it has {_listed(settings.cameras)}"
            )
    return regions


_M = TypeVar("_M", bound=_Model)


def _load(path: Path, model: type[_M]) -> _M:
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error})") from error
    return _parsed(text, path, model)


def parse_settings(text: str, path: Path) -> Settings:
    """Settings out of the text of a season.toml that will lie at `path`; raises alike."""
    return _parsed(text, path, Settings)


def _parsed(text: str, path: Path, model: type[_M]) -> _M:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{path}: not valid TOML: {error}") from error
    try:
        return model.model_validate(table)
    except ValidationError as error:
        raise SettingsError("\n".join(f"{path}: {p}" for p in refusals(error, model))) from error


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f'"{n}"' for n in names)


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
