"""The other tables of season.toml, one model each."""

import re
from datetime import time
from typing import Annotated, ClassVar, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import (
    Field,
    NonNegativeInt,
    PositiveInt,
    field_validator,
    model_validator,
)

from lapsekit.settings.values import (
    ClockTime,
    Day,
    DayTime,
    Degrees,
    Model,
    Share,
    SunTime,
    written_as,
)


def require_cap_above(base_c: float | None, cap_c: float | None) -> None:
    """Refuse a cap that does not lie above its base."""
    if base_c is not None and cap_c is not None and cap_c <= base_c:
        raise ValueError(f"cap_c ({cap_c:g}) must lie above base_c ({base_c:g})")


Language = Annotated[
    str,
    written_as(r"[a-z]{2,3}(-[A-Z]{2})?", 'write a code of a language, like "en", "de" or "pt-BR"'),
]
"""A language as HTML names it, like ``de`` or ``pt-BR``; the site needs a catalogue of it."""

Target = Annotated[
    str,
    written_as(
        r"[^-\x00-\x1f][^\x00-\x1f]*", "write a place on one line that begins with no hyphen"
    ),
]
SiteAddress = Annotated[
    str,
    written_as(
        r"https?://[^\s/?#@]+/([^\s?#]*/)?",
        'write an address such as "https://bench.example/", ending with /',
    ),
]


class SeasonTable(Model):
    """``[season]``: what is grown, since when, and whose midnight ends a day."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    time_zone: str
    sown: Day
    about: str = ""
    base_c: Degrees = 5.0
    cap_c: Degrees | None = None

    @model_validator(mode="after")
    def _cap_above_base(self) -> Self:
        require_cap_above(self.base_c, self.cap_c)
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


class PlaceTable(Model):
    """``[place]``: where the bench stands, for times by the sun; it never leaves the folder."""

    latitude: Annotated[float, Field(ge=-90, le=90)]
    longitude: Annotated[float, Field(ge=-180, le=180)]


class MoreOften(Model):
    """``[[capture.more_often]]``: days on which frames come closer together."""

    first: Annotated[Day, Field(alias="from")]
    last: Annotated[Day, Field(alias="until")]
    every_minutes: Annotated[int, Field(ge=1, le=1440)]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.first > self.last:
            raise ValueError(f"from ({self.first}) must not be later than until ({self.last})")
        return self


class CaptureTable(Model):
    """``[capture]``: when frames are taken, by the clock on the wall or by the sun."""

    every_minutes: Annotated[int, Field(ge=1, le=1440)] = 30
    first: Annotated[DayTime, Field(alias="from")] = time(8, 0)
    last: Annotated[DayTime, Field(alias="until")] = time(18, 0)
    daily_at: DayTime = time(12, 0)
    daily_within_minutes: Annotated[int, Field(ge=0, le=720)] = 90
    keep_free_mb: NonNegativeInt = 500
    wait_for_clock: bool = True
    more_often: Annotated[tuple[MoreOften, ...], Field(strict=False)] = ()

    @model_validator(mode="after")
    def _window(self) -> Self:
        by_clock = isinstance(self.first, time) and isinstance(self.last, time)
        if by_clock and self.first > self.last:
            raise ValueError(
                f"from ({self.first:%H:%M}) must not be later than until ({self.last:%H:%M})"
            )
        return self

    @property
    def needs_place(self) -> bool:
        """Whether a time by the sun is among them."""
        return any(isinstance(t, SunTime) for t in (self.first, self.last, self.daily_at))


class FramesTable(Model):
    """``[frames]``: where frames lie, if not in the season folder."""

    at: (
        Annotated[
            str,
            written_as(
                r"(file:///|s3://|sftp://([\w.-]+@)?)[^\s@?#]+",
                'write an address like "file:///media/disk/frames", "s3://bucket/frames" or '
                '"sftp://me@host/frames"; what opens it goes into access_file',
            ),
        ]
        | None
    ) = None
    access_file: Annotated[str, Field(min_length=1)] | None = None


class MorningTable(Model):
    """``[morning]``: when the day before is worked out, and how long that may take."""

    at: ClockTime = time(6, 30)
    time_limit_minutes: PositiveInt = 240


class ComputeTable(Model):
    """``[compute]``: what heavy work may use of the machine."""

    memory_mb: Annotated[int, Field(ge=200)] | None = None


class FarTable(Model):
    """Somewhere files are sent to.

    ``table`` and ``verb`` are for messages; `private` says whether files shall be read by nobody
    else there.
    """

    table: ClassVar[str]
    verb: ClassVar[str]
    private: ClassVar[bool]

    to: Literal["folder", "rsync", "rclone", "webdav"] | None = None
    target: Target | None = None
    bandwidth_kb_s: PositiveInt | None = None
    time_limit_s: Annotated[float, Field(gt=0, le=86_400)] = 3600.0
    ssh_port: Annotated[int, Field(ge=1, le=65_535)] | None = None
    ssh_key: str | None = None
    rclone_config: str | None = None
    user: Annotated[str, Field(min_length=1)] | None = None
    password_file: Annotated[str, Field(min_length=1)] | None = None

    @model_validator(mode="after")
    def _webdav(self) -> Self:
        target = self.target or ""
        if (self.user is None) != (self.password_file is None):
            raise ValueError("user and password_file belong together; give both, or neither")
        if self.user is not None and self.to != "webdav":
            raise ValueError('user and password_file belong to to = "webdav"')
        if self.to == "webdav" and target and not re.fullmatch(r"https?://[^\s@?#]+", target):
            raise ValueError(
                f'target "{target}" must be the address of a folder, like "https://host/roof"; '
                "who logs in there is user, with password_file"
            )
        is_near = re.match(r"http://(127\.0\.0\.1|localhost)[:/]", target)
        if self.user is not None and target.startswith("http://") and not is_near:
            raise ValueError("a password goes over https only")
        return self

    @model_validator(mode="after")
    def _place(self) -> Self:
        target = self.target or ""
        if self.to == "folder" and re.match(r"[^/]+:", target):
            raise ValueError('target must be a folder; for HOST:FOLDER write to = "rsync"')
        if self.to == "rsync" and target and not re.match(r"/|[^/:]+:", target):
            raise ValueError(
                f'target "{target}" must be HOST:FOLDER, or a folder that begins with /'
            )
        if self.to == "rclone" and target and not re.fullmatch(r"([\w. @+-]+:|/)[^,]*", target):
            raise ValueError(
                "target must be REMOTE:PATH of a remote that rclone config knows, or a folder that "
                "begins with /; what logs in there belongs into rclone's own file"
            )
        return self


class PublishTable(FarTable):
    """``[publish]``: where the site goes, and how."""

    table, verb, private = "publish", "publish", False


class CopiesTable(FarTable):
    """``[copies]``: where frames and the season's own texts are copied to, and when."""

    table, verb, private = "copies", "copy", True

    at: ClockTime = time(3, 30)
    encrypt_with: Annotated[str, Field(min_length=1)] | None = None

    @model_validator(mode="after")
    def _can_encrypt(self) -> Self:
        if self.encrypt_with is not None and self.to != "rclone":
            raise ValueError('encrypt_with needs to = "rclone", which encrypts before it sends')
        return self


class ThinningTable(Model):
    """``[thinning]``: which frames go in time; the daily pictures always stay."""

    keep_all_days: PositiveInt | None = None
    then_a_day: Annotated[int, Field(ge=1, le=1440)] = 4
    needs_copy: bool = True


class AlertsTable(Model):
    """``[alerts]``: who is called, and when it is quiet; off until `to_file` is given."""

    to_file: Annotated[str, Field(min_length=1)] | None = None
    no_frame_hours: Annotated[float, Field(gt=0, le=720)] = 6.0
    dew_days: PositiveInt = 3
    quiet_from: ClockTime = time(21, 0)
    quiet_until: ClockTime = time(7, 0)
    remind_days: PositiveInt = 7


class ScreeningTable(Model):
    """``[screening]``: fixed limits instead of what the season's own frames teach."""

    dark_below: Share | None = None
    blown_above: Share | None = None
    blurred_above: Share | None = None


class RegistrationTable(Model):
    """``[registration]``: holding frames to the reference view."""

    use: bool = True


class CanopyTable(Model):
    """``[canopy]``: what counts as plant."""

    method: Literal[
        "model", "exg", "exgr", "cive", "veg", "com", "mexg", "gli", "vari", "ndi", "ngrdi", "lab_a"
    ] = "model"
    model_file: str | None = None
    correct_height: bool = False


class SiteTable(Model):
    """``[site]``: the season site's language and address, and the season it is held against."""

    language: Language = "en"
    address: SiteAddress | None = None
    earlier: Annotated[str, Field(min_length=1)] | None = None
