"""Stage: one region and day -> a plate that shows how the number came about."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from pathlib import Path

import cv2
import numpy as np

from lapsekit.catalogue import Daily, Frame, Measurement
from lapsekit.errors import ArchiveError, PictureError, SeasonError, SettingsError, Unwritable
from lapsekit.frames.choosing import daily_picture
from lapsekit.other_sizes import OTHER_SIZE, set_aside
from lapsekit.plates.drawing import plate_png
from lapsekit.plates.model import FrameShown, Plate
from lapsekit.ruler import Ruler
from lapsekit.safely import require_place, write_safely
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.viewing import in_reference_view
from lapsekit.vision.regions import region_mask
from lapsekit.when import plant_age

_ASPECT = 5 / 4
_MARGIN_SHARE = 0.06
_LEAST_PX = 40


_PARTS = {
    "frames": "the day's frames",
    "shared": "all frames alike",
    "canopy": "leaf or not",
    "colours": "faint colours",
    "edge": "edges of leaves",
    "scale": "scale",
    "neighbours": "neighbours",
    "height": "height of the plant",
}


@dataclass(frozen=True)
class Explained:
    """What was explained: the file, the value with its interval, frames used and left out."""

    path: Path
    daily: Daily
    left_out: dict[str, str]


def explain(season: Season, name: str, day: date, out: Path | None = None) -> Explained:
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

    Returns
    -------
    Explained

    Raises
    ------
    SettingsError
        If there is no such region, no outline of it on that day, or `out` cannot be written.
    SeasonError
        If the day has no frames, or they are not measured yet.
    Unwritable
        If no `out` is given, and the season folder cannot be written to.
    """
    region = _region(season, name)
    frames = season.catalogue.frames(region.camera, day)
    daily = next(iter(season.catalogue.daily(name, day)), None)
    if not frames:
        raise SeasonError(_no_frames(season, region, day))
    if region.outline_on(day) is None:
        raise SettingsError(_no_outline(region, day))
    if daily is None:
        raise SeasonError(f"{day} is not measured by today's settings; run lapsekit measure first")
    telling = _Telling(season, region, day, frames, daily)
    if telling.is_of_other_settings:
        raise SeasonError(
            f"{region.name} on {day} was measured by other settings than today's; run lapsekit "
            "measure first"
        )
    path = out or _default(season, name, day)
    require_place("--out", path, "png")
    write_safely(path, plate_png(telling.plate()))
    return Explained(path, daily, telling.left_out)


def _region(season: Season, name: str) -> Region:
    try:
        return season.regions.by_name[name]
    except KeyError as error:
        titles = {r.title.lower(): r.name for r in season.regions.region}
        near = get_close_matches(name.lower(), [*season.regions.by_name, *titles], 1)
        has = ", ".join(season.regions.by_name) or "none yet"
        told = f'did you mean "{titles.get(near[0], near[0])}"?' if near else f"it has {has}"
        raise SettingsError(f'no region "{name}" in regions.toml; {told}') from error


def _no_outline(region: Region, day: date) -> str:
    if region.has_ended(day):
        return f'region "{region.name}" ended on {region.until}, so {day} is not measured'
    return (
        f'region "{region.name}" has no outline on {day}: its first is from '
        f"{region.outline[0].valid_from}; give it an earlier one to measure that day"
    )


def _no_frames(season: Season, region: Region, day: date) -> str:
    days = season.catalogue.days_of_camera(region.camera)
    if not days:
        return f'camera "{region.camera}" has no frames yet; lapsekit import brings pictures in'
    nearest = min(days, key=lambda d: abs((d - day).days))
    return f'camera "{region.camera}" has no frame on {day}; the nearest day with one is {nearest}'


def _default(season: Season, name: str, day: date) -> Path:
    if not season.is_writable:
        raise Unwritable(
            f"{season.folder}: cannot be written to, so the picture has no place there; name one "
            "elsewhere with --out"
        )
    folder = season.folder / "explained"
    folder.mkdir(exist_ok=True)
    return folder / f"{name}-{day}.png"


class _Telling:
    """One region's day, with the view and the rows that its number rests on."""

    def __init__(
        self,
        season: Season,
        region: Region,
        day: date,
        frames: Sequence[Frame],
        daily: Daily,
    ):
        self.season, self.region, self.day, self.daily = season, region, day, daily
        self.frames = frames
        self.ruler = Ruler(season)
        self.view = self.ruler.views[region.camera]
        self.points = self.view.points_on(region.outline_on(day))
        found = season.catalogue.measurements(region.name, day, region.camera)
        self.measured = {row.path: row for _, row in found}
        self.reasons, self.left_out = self._reasons()
        placed = season.catalogue.placements(region.camera, day, day)
        self.placements = {placement.path: placement for _, placement in placed}

    def _reasons(self) -> tuple[dict[str, str], dict[str, str]]:
        """Why frames give no value, by path: in a word or two, and with figures."""
        found = self.season.catalogue.screenings(self.region.camera, self.day)
        short = {f.path: ", ".join(seen.reasons) for f, seen in found if seen.reasons}
        told = {f.path: seen.told or short[f.path] for f, seen in found if seen.reasons}
        usable = [frame for frame, seen in found if not seen.reasons]
        for frame in set_aside(usable, self.view.fits):
            short[frame.path] = OTHER_SIZE
            told[frame.path] = f"{OTHER_SIZE}: {frame.width} x {frame.height} px"
        return short, told

    @property
    def is_of_other_settings(self) -> bool:
        """Whether the value rests on frames that today's settings would measure anew."""
        marks = [
            (row.mark, self.ruler.marks(frame).get(self.region.name))
            for frame in self.frames
            if (row := self.measured.get(frame.path))
        ]
        return any(was != now for was, now in marks)

    def plate(self) -> Plate:
        """Everything the plate shows."""
        season, region, daily = self.season, self.region, self.daily
        pictures = {frame.path: self._picture(frame) for frame in self.frames}
        no_more = season.not_to_be_used(frame.path for frame in self.frames)
        used = [f for f in self.frames if f.path not in self.reasons and f.path not in no_more]
        shown = daily_picture(used, season.daily_at(self.day)) if used else None
        picture = pictures[shown.path] if shown else next(iter(pictures.values()))
        if not picture.size:
            picture = next((p for p in pictures.values() if p.size), None)
        canopy = None if picture is None or not shown else self._plant(picture.shape[:2])
        box = _box(picture, canopy, self.points)
        scaled = daily.area_cm2 is not None
        rows = {path: row for path, row in self.measured.items() if path not in self.reasons}
        values = (daily.area_cm2, daily.area_low_cm2, daily.area_high_cm2)
        if not scaled:
            values = tuple(_percent(v) for v in (daily.cover, daily.cover_low, daily.cover_high))
        left, top = box[1].start, box[0].start
        age = plant_age(self.day, season.sown(region))
        return Plate(
            region.title,
            f"{self.day.day} {self.day:%B %Y}, " + (f"day {age}" if age >= 0 else "before sowing"),
            "cm²" if scaled else "%",
            *values,
            "95 % interval",
            [
                _shown(season, f, pictures[f.path], box, rows.get(f.path), self.reasons)
                for f in self.frames
            ],
            picture[box] if picture is not None else None,
            canopy[box] if canopy is not None else None,
            [(x - left, y - top) for x, y in self.points] if self.points else None,
            self._px_per_cm(),
            [(_PARTS[n], half if scaled else 100 * half) for n, half in daily.parts.items()],
            self._notes(),
        )

    def _picture(self, frame: Frame) -> np.ndarray:
        """The frame as the reference view shows it; an empty one where it cannot be read.

        One of another size that gives no value is brought to the view's, to be seen beside others.
        """
        try:
            picture = self.ruler.picture(frame)
        except (ArchiveError, PictureError):
            return np.zeros((0, 0, 3), np.uint8)
        if self.reasons.get(frame.path) == OTHER_SIZE:
            return cv2.resize(picture, self.view.shape[::-1], interpolation=cv2.INTER_AREA)
        return in_reference_view(picture, self.view.matrix_of(self.placements.get(frame.path)))

    def _plant(self, shape: tuple[int, int]) -> np.ndarray | None:
        """Canopy of the region as the day was divided; None where that is not kept."""
        names = [r.name for r in self.season.regions.region if r.camera == self.region.camera]
        mark = self.ruler.labels_mark(self.region.camera, names)
        labels = self.ruler.shapes.labels(self.region.camera, self.day, mark)
        if labels is None or labels.shape != shape:
            return None
        own = labels == names.index(self.region.name) + 1
        # A view over several plants has no label of its own: its canopy is all that lies in it
        return own if own.any() else (labels > 0) & region_mask(shape, self.points)

    def _px_per_cm(self) -> float | None:
        if self.view.scale.plane is None or self.view.frame is None:
            return None
        return self.view.scale.plane.px_per_cm(self.view.shape)

    def _notes(self) -> list[str]:
        method = self.ruler.method
        method = "the canopy model" if method == "model" else f"the colour index {method}"
        first, scale = f"Canopy found by {method}", self._px_per_cm()
        if scale is not None:
            first += f"; scale {scale * self.view.by:.2f} px per cm; area projected onto the bench"
        lines = [first + "."]
        placed = [self.placements.get(f.path) for f in self.frames if not self.reasons.get(f.path)]
        errors = [p.error_px for p in placed if p is not None and p.error_px is not None]
        if errors:
            lines.append(
                f"Frames held to the reference view within {np.median(errors):.2f} px "
                f"(median; worst {max(errors):.2f} px)."
            )
        titles = {r.name: r.title for r in self.season.regions.region}
        if self.daily.touches:
            met = ", ".join(titles[name] for name in self.daily.touches)
            lines.append(
                f"Its leaves meet those of {met}; told apart by where plants stood before."
            )
        if self.daily.crowded:
            lines.append("Its leaves have reached the outline.")
        gone = self.daily.frames_used - len(set(self.measured) - set(self.reasons))
        if gone > 0:
            lines.append(f"{gone} of the frames it rests on were thinned out since.")
        return lines


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
