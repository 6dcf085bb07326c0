"""What the catalogue holds, a row each."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from lapsekit.when import from_utc_text

#: What stands as the reason of a frame between its measurement and its verdict.
NOT_JUDGED = "not judged yet"
#: What stands where too few frames lie around one to see whether somebody is in it.
NOT_WATCHED = "not looked through"
#: Columns of a frame, in the order of `Frame`'s fields.
FRAME_COLUMNS = "camera, taken_at, day, path, sha256, size, width, height, arrived_by"


@dataclass(frozen=True)
class Frame:
    """A stored frame; `path` is relative to the season folder, sizes are of the upright picture."""

    camera: str
    taken_at: datetime
    day: date
    path: str
    sha256: str
    size: int
    width: int
    height: int
    arrived_by: str


@dataclass(frozen=True)
class Screening:
    """Verdict on a frame: usable when `reasons` is empty. Shares and means lie in 0 to 1.

    `told` says the reason with its figure; `watched` whether visitors could be looked for. The
    figures themselves are large and are read on their own (`Catalogue.figures_after`).
    """

    path: str
    mark: str
    reasons: tuple[str, ...]
    luminance: float | None
    clipped: float | None
    blur: float | None
    told: str = ""
    watched: bool = False


@dataclass(frozen=True)
class FrameVerdict:
    """What a frame's screening comes to, once it is judged beside the others.

    `overruled` is what it would be without the grower's word, where that stands above it.
    """

    path: str
    reasons: tuple[str, ...]
    told: str
    watched: bool
    overruled: "FrameVerdict | None" = None


@dataclass(frozen=True)
class Judging:
    """How far a camera's frames are judged.

    `basis` marks the settings that their verdicts were made by, `ruled` the grower's words that
    stand above some. The first `settled` frames have verdicts that no later frame can change; the
    last of them was taken at `settled_at` and lies at `settled_path`. `memory` is what was learned
    from these, as JSON. `open_from` is the instant from which on frames came, went or changed
    since; None where there are none.
    """

    basis: str
    ruled: str
    settled: int = 0
    settled_at: datetime | None = None
    settled_path: str = ""
    memory: str = ""
    open_from: datetime | None = None


@dataclass(frozen=True)
class Figured:
    """A frame with the figures that it is judged by, as JSON, and their settings mark."""

    frame: Frame
    mark: str
    figures: str


@dataclass(frozen=True)
class Placement:
    """Where the camera's reference view lies in a frame.

    `matrix` is the homography from the reference view to the frame, row by row; None where the
    frame could not be registered, and then `how` says why. `residual_px` is the typical distance
    of matched places, `error_px` the standard error at the worst corner.
    """

    path: str
    matrix: tuple[float, ...] | None
    residual_px: float | None
    error_px: float | None
    how: str


@dataclass(frozen=True)
class Measurement:
    """Canopy of one region in one frame; `area_cm2` is None where the camera has no scale.

    Until its day is worked out these are of the canopy inside the outline, then of the plant's,
    wherever it reaches. Colours are of the canopy inside the outline: see
    `lapsekit.vision.within_day.Colour`. `unsure` is the share of the outline that the classifier
    was in doubt of; `faded_share`, the part of the canopy that hangs on how strong colours are, is
    known of one frame in some days only (`lapsekit.fading`).
    """

    path: str
    region: str
    mark: str
    region_px: int
    canopy_px: int
    cover: float
    area_cm2: float | None
    greenness: float | None = None
    yellow_share: float | None = None
    red_share: float | None = None
    unsure: float = 0.0
    faded_share: float | None = None


@dataclass(frozen=True)
class Daily:
    """Canopy of one region on one day; values are None on a day without a usable frame.

    `low` and `high` bound the interval at 95 %; `parts` are the half-widths it is made of, by name,
    in the value's unit (cm² with a scale, cover without). `left_out` counts the reasons for which
    frames of the day were not used. `touches` names the regions whose canopy it meets, and
    `crowded` says that it has reached its outline. What follows is of within the day: see
    `lapsekit.vision.within_day`.
    """

    region: str
    day: date
    cover: float | None
    cover_low: float | None
    cover_high: float | None
    area_cm2: float | None
    area_low_cm2: float | None
    area_high_cm2: float | None
    frames_used: int
    left_out: dict[str, int]
    parts: dict[str, float] = field(default_factory=dict)
    touches: tuple[str, ...] = ()
    crowded: bool = False
    range_share: float | None = None
    midday_change: float | None = None
    greenness: float | None = None
    yellow_share: float | None = None
    red_share: float | None = None


def reaches_beyond(row: Daily) -> bool:
    """Whether a plant reached beyond its outline: what has no region there may count with it."""
    return row.crowded or (row.cover or 0.0) > 1.0


def flat(row: object) -> tuple:
    """Fields of a row, as they are; `dataclasses.astuple` would copy each."""
    return tuple(vars(row).values())


def frame_of(row: Sequence) -> Frame:
    """The frame whose `FRAME_COLUMNS` stand first in a row of the database."""
    return Frame(row[0], from_utc_text(row[1]), date.fromisoformat(row[2]), *row[3:9])
