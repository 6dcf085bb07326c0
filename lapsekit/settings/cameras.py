"""``[cameras.NAME]``: one table a camera, and how its pictures are measured."""

import math
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import AfterValidator, Field, PositiveInt, model_validator

from lapsekit.settings.values import Length, Model, Point, Points, written_as


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


class LensTable(Model):
    """``[cameras.NAME.lens]``: a lens's distortion, as ``lapsekit lens`` finds it."""

    size_px: Annotated[tuple[PositiveInt, PositiveInt], Field(strict=False)]
    focal_px: Length
    centre_px: Point
    radial: Annotated[tuple[float, float], Field(strict=False)]


Outlined = Annotated[Points, Field(strict=False, min_length=3)]
TimeLimit = Annotated[float, Field(gt=0, le=600)]
Side = Annotated[int, Field(ge=120, le=16_000)]


class _Camera(Model):
    reference: Annotated[str, Field(min_length=1)] | None = None
    px_per_cm: Length | None = None
    scale_points: Annotated[tuple[Point, Point], Field(strict=False)] | None = None
    scale_length_cm: Length | None = None
    scale_rectangle: Annotated[tuple[Point, Point, Point, Point], Field(strict=False)] | None = None
    scale_sides_cm: Annotated[tuple[Length, Length], Field(strict=False)] | None = None
    tag_side_cm: Length | None = None
    grey_card: Outlined | None = None
    height_cm: Length | None = None
    lens: LensTable | None = None
    privacy: Annotated[tuple[Outlined, ...], Field(strict=False)] = ()
    privacy_size_px: Annotated[tuple[PositiveInt, PositiveInt], Field(strict=False)] | None = None

    @model_validator(mode="after")
    def _one_scale(self) -> Self:
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

    @model_validator(mode="after")
    def _areas_of_a_size(self) -> Self:
        if not self.privacy:
            return self
        if self.privacy_size_px is None:
            raise ValueError(
                "privacy needs privacy_size_px = [width, height]: the size in px of the upright "
                "pictures that its outlines were drawn in"
            )
        width, height = self.privacy_size_px
        for number, outline in enumerate(self.privacy, start=1):
            across, down = zip(*outline, strict=True)
            if max(across) < 0 or max(down) < 0 or min(across) >= width or min(down) >= height:
                raise ValueError(
                    f"area {number} of privacy lies wholly outside of a picture of {width} × "
                    f"{height} px (privacy_size_px), so it would hide nothing; draw it anew"
                )
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


class _Sized(_Camera):
    """A camera that is asked for pictures of a size."""

    width: Side | None = None
    height: Side | None = None

    @model_validator(mode="after")
    def _whole_size(self) -> Self:
        if (self.width is None) != (self.height is None):
            raise ValueError("width and height belong together; give both, or neither")
        return self


def _address(scheme: str, example: str) -> AfterValidator:
    return written_as(
        rf"{scheme}s?://[^\s@]+",
        f'write an address like "{example}"; who logs in there is user, with password_file',
    )


class _Addressed(_Camera):
    """A camera under an address; its password stands in a file of its own."""

    user: Annotated[str, Field(min_length=1)] | None = None
    password_file: Annotated[str, Field(min_length=1)] | None = None

    @model_validator(mode="after")
    def _both_or_neither(self) -> Self:
        if (self.user is None) != (self.password_file is None):
            raise ValueError("user and password_file belong together; give both, or neither")
        return self


class FilesCamera(_Camera):
    """Pictures come by ``lapsekit import`` only; nothing is captured."""

    kind: Literal["files"]

    @model_validator(mode="after")
    def _no_areas(self) -> Self:
        if self.privacy:
            raise ValueError(
                'privacy does nothing for a camera of kind "files", as imported pictures stay as '
                "they are; black out what nobody shall see before you import them, and take "
                "privacy out here"
            )
        return self


class UsbCamera(_Sized):
    """A camera on USB, read through Video4Linux; what is fixed is no longer automatic."""

    kind: Literal["usb"]
    device: Annotated[int, Field(ge=0, le=63)] = 0
    warm_up_frames: Annotated[int, Field(ge=0, le=300)] = 10
    exposure_ms: Annotated[float, Field(gt=0, le=10_000)] | None = None
    white_balance_k: Annotated[int, Field(ge=1000, le=12_000)] | None = None
    jpeg_quality: Annotated[int, Field(ge=50, le=100)] = 92
    time_limit_s: TimeLimit = 30.0


class PiCamera(_Sized):
    """A Raspberry Pi's own camera, by its command-line still tool."""

    kind: Literal["pi"]
    number: Annotated[int, Field(ge=0, le=7)] = 0
    exposure_ms: Annotated[float, Field(gt=0, le=200_000)] | None = None
    gain: Annotated[float, Field(ge=1, le=64)] | None = None
    white_balance_gains: Annotated[tuple[Length, Length], Field(strict=False)] | None = None
    focus_dioptres: Annotated[float, Field(ge=0, le=32)] | None = None
    upside_down: bool = False
    jpeg_quality: Annotated[int, Field(ge=50, le=100)] = 92
    time_limit_s: TimeLimit = 30.0


class CommandCamera(_Camera):
    """Any program that writes one picture to standard output, or to the file ``{file}``."""

    kind: Literal["command"]
    command: Annotated[tuple[str, ...], Field(strict=False, min_length=1)]
    time_limit_s: TimeLimit = 30.0


class HttpCamera(_Addressed):
    """A still picture under an address."""

    kind: Literal["http"]
    url: Annotated[str, _address("http", "http://10.0.0.7/still.jpg")]
    time_limit_s: TimeLimit = 30.0


class RtspCamera(_Addressed):
    """One picture out of a video stream under an address."""

    kind: Literal["rtsp"]
    url: Annotated[str, _address("rtsp", "rtsp://10.0.0.7/stream")]
    warm_up_frames: Annotated[int, Field(ge=0, le=300)] = 10
    jpeg_quality: Annotated[int, Field(ge=50, le=100)] = 92
    time_limit_s: TimeLimit = 30.0


class WatchedCamera(_Camera):
    """A folder into which a phone, a trail camera or a card puts pictures."""

    kind: Literal["watched"]
    folder: Annotated[str, Field(min_length=1)]
    settled_s: Annotated[float, Field(ge=1, le=3600)] = 10.0
    pattern: Annotated[str, Field(min_length=1)] | None = None
    file_time: bool = False

    @model_validator(mode="after")
    def _one_source_of_time(self) -> Self:
        if self.pattern is not None and self.file_time:
            raise ValueError("pattern and file_time are two sources of time; give one")
        return self


class ReplayCamera(_Camera):
    """Plays a folder of dated frames (named as lapsekit files them) again."""

    kind: Literal["replay"]
    folder: Annotated[str, Field(min_length=1)]


Camera = Annotated[
    FilesCamera
    | UsbCamera
    | PiCamera
    | CommandCamera
    | HttpCamera
    | RtspCamera
    | WatchedCamera
    | ReplayCamera,
    Field(discriminator="kind"),
]
