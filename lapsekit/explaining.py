"""Stage: one region and day -> a plate that shows how the number came about."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np

from lapsekit.catalogue import Daily, Frame, Measurement
from lapsekit.errors import ArchiveError, PictureError, SeasonError, SettingsError
from lapsekit.measuring import load_model
from lapsekit.plates.drawing import plate_png
from lapsekit.plates.model import FrameShown, Plate
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.vision.canopy import classify
from lapsekit.vision.pictures import decode
from lapsekit.vision.regions import region_mask
from lapsekit.when import plant_age

_ASPECT = 5 / 4
_MARGIN_SHARE = 0.06
_LEAST_PX = 40


@dataclass(frozen=True)
class Known:
    """What other stages can tell beside the catalogue's rows.

    Attributes
    ----------
    plant : (H, W) bool ndarray or None
        The region's canopy in the view of the daily picture, neighbours split off; without it,
        the canopy inside the outline.
    interval : str
        What the low and high of the daily value are.
    parts : sequence of (str, float)
        Names and half-widths of what the interval is made of, in the value's unit.
    residual_px : mapping of str to float
        Residual of each frame's registration by the frame's path.
    notes : sequence of str
        More lines for the foot.
    """

    plant: np.ndarray | None = None
    interval: str = "range of the day's frames"
    parts: Sequence[tuple[str, float]] = ()
    residual_px: Mapping[str, float] = field(default_factory=dict)
    notes: Sequence[str] = ()


@dataclass(frozen=True)
class Explained:
    """What was explained: the file, the value with its interval, frames used and left out."""

    path: Path
    daily: Daily
    left_out: dict[str, str]


def explain(
    season: Season, name: str, day: date, out: Path | None = None, known: Known | None = None
) -> Explained:
    """Draw how the value of a region on a day came about.

    Parameters
    ----------
    season : Season
        An open season.
    name : str
        The region.
    day : datetime.date
        Local day.
    out : pathlib.Path, optional
        PNG to write; ``explained/REGION-DATE.png`` in the season folder by default.
    known : Known, optional
        What the catalogue does not hold.

    Returns
    -------
    Explained

    Raises
    ------
    SettingsError
        If there is no such region, no outline of it on that day, or `out` cannot be written.
    SeasonError
        If the day has no frames, or they are not measured yet.
    """
    region = _region(season, name)
    frames = season.catalogue.frames(region.camera, day)
    daily = next((d for d in season.catalogue.daily(name) if d.day == day), None)
    if not frames:
        raise SeasonError(_no_frames(season, region, day))
    if region.outline_on(day) is None:
        raise SettingsError(
            f'region "{name}" has no outline on {day}: its first is from '
            f"{region.outline[0].valid_from}; give it an earlier one to measure that day"
        )
    if daily is None:
        raise SeasonError(f"{day} is not measured by today's settings; run lapsekit measure first")
    reasons = {
        frame.path: ", ".join(screening.reasons)
        for frame, screening in season.catalogue.screenings()
        if frame.day == day and frame.camera == region.camera
    }
    plate = _plate(season, region, day, frames, daily, reasons, known or Known())
    path = out or _default(season, name, day)
    if path.suffix.lower() != ".png" or not path.parent.is_dir():
        raise SettingsError(f"--out {path}: name a .png file in a folder that exists")
    write_safely(path, plate_png(plate))
    return Explained(path, daily, {path: why for path, why in reasons.items() if why})


def _region(season: Season, name: str) -> Region:
    try:
        return season.regions.by_name[name]
    except KeyError as error:
        has = ", ".join(season.regions.by_name) or "none yet"
        raise SettingsError(f'no region "{name}" in regions.toml; it has {has}') from error


def _no_frames(season: Season, region: Region, day: date) -> str:
    days = season.catalogue.days_of_camera(region.camera)
    if not days:
        return f'camera "{region.camera}" has no frames yet; lapsekit import brings pictures in'
    nearest = min(days, key=lambda d: abs((d - day).days))
    return f'camera "{region.camera}" has no frame on {day}; the nearest day with one is {nearest}'


def _default(season: Season, name: str, day: date) -> Path:
    folder = season.folder / "explained"
    folder.mkdir(exist_ok=True)
    return folder / f"{name}-{day}.png"


def _plate(
    season: Season,
    region: Region,
    day: date,
    frames: Sequence[Frame],
    daily: Daily,
    reasons: Mapping[str, str],
    known: Known,
) -> Plate:
    pictures = {frame.path: _picture(season, frame) for frame in frames}
    points = region.outline_on(day).points
    shown = season.daily_pictures().get(region.camera, {}).get(day)
    picture = pictures[shown.path] if shown else next(iter(pictures.values()))
    if not picture.size:
        picture = next((p for p in pictures.values() if p.size), None)
    canopy = None if picture is None or not shown else _canopy(season, picture, points, known)
    box = _box(picture, canopy, points)
    scaled = daily.area_cm2 is not None
    rows = {m.path: m for _, m in season.catalogue.measurements(region.name, day, region.camera)}
    values = (daily.area_cm2, daily.area_low_cm2, daily.area_high_cm2)
    if not scaled:
        values = tuple(_percent(v) for v in (daily.cover, daily.cover_low, daily.cover_high))
    left, top = box[1].start, box[0].start
    age = plant_age(day, season.sown(region))
    return Plate(
        region.title,
        f"{day.day} {day:%B %Y}, " + (f"day {age}" if age >= 0 else "before sowing"),
        "cm²" if scaled else "%",
        *values,
        known.interval,
        [_shown(season, f, pictures[f.path], box, rows.get(f.path), reasons) for f in frames],
        picture[box] if picture is not None else None,
        canopy[box] if canopy is not None else None,
        [(x - left, y - top) for x, y in points] if points else None,
        season.settings.cameras[region.camera].scale_px_per_cm,
        known.parts,
        _notes(season, region, daily, known),
    )


def _picture(season: Season, frame: Frame) -> np.ndarray:
    """The frame's picture; an empty one where it cannot be read."""
    try:
        return decode(season.archive.read(frame.path))
    except (ArchiveError, PictureError):
        return np.zeros((0, 0, 3), np.uint8)


def _canopy(
    season: Season,
    picture: np.ndarray,
    points: Sequence[tuple[float, float]] | None,
    known: Known,
) -> np.ndarray:
    if known.plant is not None:
        return known.plant
    settings = season.settings.canopy
    found = classify(picture, settings.method, load_model(settings, season.folder))
    return found & region_mask(found.shape, points)


def _box(
    picture: np.ndarray | None,
    canopy: np.ndarray | None,
    points: Sequence[tuple[float, float]] | None,
) -> tuple[slice, slice]:
    """Rows and columns to show: outline and canopy with a margin, 5 : 4 where the view has room."""
    if picture is None:
        return slice(0, 0), slice(0, 0)
    height, width = picture.shape[:2]
    corners = np.array(points if points else [(0, 0), (width, height)], float)
    if canopy is not None and canopy.any():
        rows, columns = np.nonzero(canopy)
        corners = np.concatenate([corners, np.c_[columns, rows]])
    low, high = corners.min(0), corners.max(0)
    wide, tall = np.maximum(high - low, _LEAST_PX) * (1 + 2 * _MARGIN_SHARE)
    wide, tall = max(wide, tall * _ASPECT), max(tall, wide / _ASPECT)
    middle = (low + high) / 2
    return _span(middle[1], tall, height), _span(middle[0], wide, width)


def _span(middle: float, length: float, limit: int) -> slice:
    length = min(round(length), limit)
    start = int(np.clip(round(middle - length / 2), 0, limit - length))
    return slice(start, start + length)


def _shown(
    season: Season,
    frame: Frame,
    picture: np.ndarray,
    box: tuple[slice, slice],
    row: Measurement | None,
    reasons: Mapping[str, str],
) -> FrameShown:
    local = frame.taken_at.astimezone(season.zone)
    value = None
    if row is not None:
        value = row.area_cm2 if row.area_cm2 is not None else _percent(row.cover)
    reason = "" if row is not None else reasons.get(frame.path, "") or "not measured"
    return FrameShown(local.hour + local.minute / 60, picture[box], value, reason)


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _notes(season: Season, region: Region, daily: Daily, known: Known) -> list[str]:
    camera = season.settings.cameras[region.camera]
    scale = camera.scale_px_per_cm
    method = {
        "model": "the canopy model",
        "exg": "excess green",
        "exgr": "excess green minus excess red",
    }[season.settings.canopy.method]
    first = f"Canopy found by {method}"
    if scale is not None:
        first += f"; scale {scale:.2f} px per cm; area projected onto the bench"
    lines = [first + "."]
    residuals = [r for r in known.residual_px.values() if r is not None]
    if residuals:
        lines.append(
            f"Frames registered to the reference view within {np.median(residuals):.2f} px "
            f"(median; worst {max(residuals):.2f} px)."
        )
    return [*lines, *known.notes]
