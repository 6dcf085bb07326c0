"""Stage: frames not yet measured -> screening, measurements and daily values.

Each frame's figures and measurements are taken from one reading of it; whether it is used is
judged after, beside the other frames (`lapsekit.judging`), and can change as later frames come,
without measuring it again.

Each screening and measurement carries a *settings mark*: a hash of every setting, the model and
the library versions that shaped it. A frame is done when its rows carry the marks that today's
settings give; whatever differs is measured again, and nothing else. A daily value is dropped as
soon as a frame of its day waits.
"""

import hashlib
import json
from collections import Counter
from dataclasses import asdict, dataclass, field
from datetime import date
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import skimage

from lapsekit.catalogue import NOT_JUDGED, Daily, Frame, Measurement, Screening
from lapsekit.compute import spread
from lapsekit.errors import ArchiveError, LapsekitError, PictureError, SettingsError
from lapsekit.judging import judge_season, verdicts_waiting
from lapsekit.progress import Track, silent
from lapsekit.resources import shipped_model_text
from lapsekit.season import REGIONS_FILE, Season
from lapsekit.settings import CanopyTable, Outline, Region
from lapsekit.vision.canopy import HOLE_PX, SPECK_PX, CanopyModel, classify
from lapsekit.vision.daily import day_value
from lapsekit.vision.figures import figures_of
from lapsekit.vision.pictures import decode
from lapsekit.vision.regions import outside, region_canopy, region_mask

#: Raised by hand whenever the arithmetic of this stage changes its results.
ARITHMETIC = 2

UNREADABLE = "unreadable"


@dataclass
class MeasureReport:
    """What measuring did.

    Attributes
    ----------
    measured : int
        Frames measured now.
    done_before : int
        Frames whose rows were up to date.
    left_out : dict of str to int
        Reasons among the frames measured now.
    unreadable : list of (path, reason)
        Files in the archive that are not whole pictures.
    days : int
        Daily values worked out now.
    notes : list of str
        What a grower should know of frames that get no area or no value.
    """

    measured: int = 0
    done_before: int = 0
    left_out: Counter = field(default_factory=Counter)
    unreadable: list[tuple[str, str]] = field(default_factory=list)
    days: int = 0
    notes: list[str] = field(default_factory=list)


def load_model(canopy: CanopyTable, folder: Path | None = None) -> CanopyModel | None:
    """The canopy model that settings ask for, the shipped one by default; None for an index.

    Raises
    ------
    SettingsError
        If ``canopy.model_file`` cannot be read or is not a canopy model.
    """
    if canopy.method != "model":
        return None
    if canopy.model_file is None:
        return CanopyModel.from_json(shipped_model_text())
    path = Path(folder or ".", canopy.model_file)
    try:
        return CanopyModel.from_json(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValueError, LapsekitError) as error:
        raise SettingsError(
            f"canopy.model_file = {str(path)!r}: not a usable canopy model ({error})"
        ) from error


class _Ruler:
    """Everything that turns a frame into rows, with the marks of the rows it makes."""

    def __init__(self, season: Season):
        settings = season.settings
        self.season = season
        self.method = settings.canopy.method
        self.model = load_model(settings.canopy, season.folder)
        self.scales = {name: c.scale_px_per_cm for name, c in settings.cameras.items()}
        sizes = {name: season.catalogue.picture_sizes(name) for name in settings.cameras}
        self.size = {name: found[0][:2] for name, found in sizes.items() if found}
        versions = {
            "cv2": cv2.__version__,
            "numpy": np.__version__,
            "skimage": skimage.__version__,
            "arithmetic": ARITHMETIC,
        }
        self.screening_mark = _mark(versions)
        self._known_marks: dict[tuple, str] = {}
        self._canopy = (
            self.screening_mark,
            self.method,
            self.model and self.model.mark,
            (SPECK_PX, HOLE_PX),
        )

    def outlines(self, frame: Frame) -> list[tuple[Region, Outline]]:
        """Regions that a frame shows, with the outline valid on its day."""
        pairs = (
            (region, region.outline_on(frame.day))
            for region in self.season.regions.region
            if region.camera == frame.camera
        )
        return [(region, outline) for region, outline in pairs if outline is not None]

    def scale(self, frame: Frame) -> float | None:
        """Pixels per cm; None for a frame of another size than the camera's first one."""
        fits = self.size[frame.camera] == (frame.width, frame.height)
        return self.scales[frame.camera] if fits else None

    def mark(self, frame: Frame, outline: Outline) -> str:
        """Settings mark of a region's measurement in a frame."""
        key = (self.scale(frame), outline.points)
        if key not in self._known_marks:
            self._known_marks[key] = _mark(self._canopy, *key)
        return self._known_marks[key]

    def marks(self, frame: Frame) -> dict[str, str]:
        """Marks that the frame's measurements carry when they are up to date, by region."""
        return {r.name: self.mark(frame, o) for r, o in self.outlines(frame)}

    def measure(self, frame: Frame) -> tuple[Screening, list[Measurement], str | None] | str:
        """One frame's screening, to be judged, measurements and figures; or why it has none."""
        try:
            data = self.season.archive.read(frame.path)
        except ArchiveError as error:
            return str(error)
        try:
            picture = decode(data)
        except PictureError as error:
            told = f"{UNREADABLE}: {error}"
            reasons = (UNREADABLE,)
            unread = Screening(frame.path, self.screening_mark, reasons, None, None, None, told)
            return unread, [], None
        figures = figures_of(picture)
        screening = Screening(
            frame.path,
            self.screening_mark,
            (NOT_JUDGED,),
            figures.luminance,
            figures.clipped,
            round(1 - figures.sharpness, 5),
        )
        return screening, self._regions(frame, picture), json.dumps(figures.as_plain())

    def _regions(self, frame: Frame, picture: np.ndarray) -> list[Measurement]:
        regions = self.outlines(frame)
        if not regions:
            return []
        canopy = classify(picture, self.method, self.model)
        return [self._region(frame, canopy, r, o) for r, o in regions]

    def _region(
        self, frame: Frame, canopy: np.ndarray, region: Region, outline: Outline
    ) -> Measurement:
        inside = _cached_region_mask(canopy.shape, outline.points)
        found = region_canopy(canopy, inside, self.scale(frame))
        return Measurement(frame.path, region.name, self.mark(frame, outline), **asdict(found))


_cached_region_mask = lru_cache(maxsize=64)(region_mask)


def measure(season: Season, workers: int | None = None, track: Track = silent) -> MeasureReport:
    """Measure every frame that is not measured yet, then the days that changed.

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock.
    workers : int, optional
        Frames worked on at once; all cores by default.
    track : Track
        Told about progress.

    Returns
    -------
    MeasureReport

    Raises
    ------
    SettingsError
        If an outline lies outside its camera's pictures, before anything is measured.
    """
    report = MeasureReport(unreadable=season.index(track=track).unreadable)
    catalogue = season.catalogue
    _check_outlines(season)
    catalogue.keep_regions({r.name: r.camera for r in season.regions.region})
    ruler = _Ruler(season)
    waiting, report.done_before = _not_done(ruler)
    catalogue.forget_days({frame.day for frame in waiting})
    report.notes = [*_other_sizes(season), *_unoutlined(season)]
    cv2.setNumThreads(1)
    results = spread(ruler.measure, waiting, workers)
    for frame, found in track(zip(waiting, results, strict=True), len(waiting), "measuring"):
        if isinstance(found, str):
            report.unreadable.append((frame.path, found))
            continue
        catalogue.record(*found)
        report.measured += 1
    report.notes += judge_season(season)
    now = {frame.path for frame in waiting}
    for frame, screening in catalogue.screenings():
        if frame.path in now:
            report.left_out.update(screening.reasons)
    report.days = _work_out_days(season)
    return report


def frames_waiting(season: Season) -> int:
    """How many frames are not measured, or not judged, by today's settings."""
    waiting, done = _not_done(_Ruler(season))
    return len(waiting) + (done if verdicts_waiting(season) else 0)


def _not_done(ruler: _Ruler) -> tuple[list[Frame], int]:
    """Frames whose rows are missing or of other settings, and the number of the rest."""
    catalogue = ruler.season.catalogue
    cameras = ruler.season.settings.cameras
    frames = [f for f in catalogue.frames() if f.camera in cameras]
    screened = {s.path: s for _, s in catalogue.screenings()}
    measured = catalogue.measurement_marks()

    def done(frame: Frame) -> bool:
        screening = screened.get(frame.path)
        if screening is None or screening.mark != ruler.screening_mark:
            return False
        unread = screening.reasons == (UNREADABLE,)
        return unread or measured.get(frame.path, {}) == ruler.marks(frame)

    waiting = [f for f in frames if not done(f)]
    return waiting, len(frames) - len(waiting)


def _other_sizes(season: Season) -> list[str]:
    """A sentence for each camera with a scale whose frames are not all of one size."""
    return [
        f'camera "{name}": frames of another size than its first ({sizes[0][0]} x {sizes[0][1]}) '
        "get no area, since its scale holds for that size; give the new view a camera of its own"
        for name, camera in season.settings.cameras.items()
        if camera.scale_px_per_cm is not None
        and len(sizes := season.catalogue.picture_sizes(name)) > 1
    ]


def _unoutlined(season: Season) -> list[str]:
    """A sentence for each region with frames of days before its first outline."""
    notes = []
    for region in season.regions.region:
        first = region.outline[0].valid_from
        early = [d for d in season.catalogue.days_of_camera(region.camera) if d < first]
        if early:
            notes.append(
                f'region "{region.name}": {len(early)} days with frames before its first outline '
                f"(from = {first} in {REGIONS_FILE}) have no value"
            )
    return notes


def _check_outlines(season: Season) -> None:
    sizes = {c: season.catalogue.picture_sizes(c) for c in season.settings.cameras}
    for region in season.regions.region:
        ends = [o.valid_from for o in region.outline[1:]] + [date.max]
        for number, (outline, end) in enumerate(zip(region.outline, ends, strict=True), start=1):
            for width, height, first, last, path in sizes[region.camera]:
                if last < outline.valid_from or first >= end:
                    continue
                found = outside((height, width), outline.points)
                if found:
                    point, (x, y) = found
                    raise SettingsError(
                        f'{season.folder / REGIONS_FILE}: region "{region.name}", outline '
                        f"{number}, point {point} = [{x:g}, {y:g}] lies outside the picture "
                        f"(0 to {width} and 0 to {height} px, as {path} has); move the point inside"
                    )


def _work_out_days(season: Season) -> int:
    """Daily values that are not there yet; how many were worked out."""
    catalogue = season.catalogue
    left_out = _left_out_by_day(season)
    stored = 0
    for region in season.regions.region:
        first = region.outline[0].valid_from
        days = catalogue.days_of_camera(region.camera)
        known = catalogue.daily_days(region.name)
        catalogue.forget_daily(region.name, known - {d for d in days if d >= first})
        rows = [
            _daily(season, region, day, left_out.get((region.camera, day), Counter()))
            for day in days
            if day >= first and day not in known
        ]
        catalogue.store_daily(rows)
        stored += len(rows)
    return stored


def _daily(season: Season, region: Region, day: date, left_out: Counter) -> Daily:
    rows = [m for _, m in season.catalogue.measurements(region.name, day, region.camera)]
    cover = day_value([m.cover for m in rows])
    area = day_value([m.area_cm2 for m in rows])
    return Daily(
        region.name,
        day,
        cover.middle,
        cover.low,
        cover.high,
        area.middle,
        area.low,
        area.high,
        len(rows),
        dict(left_out),
    )


def _left_out_by_day(season: Season) -> dict[tuple[str, date], Counter]:
    counts: dict[tuple[str, date], Counter] = {}
    for frame, screening in season.catalogue.screenings():
        if screening.reasons:
            counts.setdefault((frame.camera, frame.day), Counter()).update(screening.reasons)
    return counts


def _mark(*parts: object) -> str:
    text = json.dumps(parts, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
