"""Stage: frames not yet measured -> screening, measurements and daily values.

Each derived row carries a *settings mark*: a hash of every setting, the model and the library
versions that shaped it. A frame is done when its rows carry the marks that today's settings
give; whatever differs is measured again, and nothing else.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import date
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from lapsekit.catalogue import Daily, Frame, Measurement, Screening
from lapsekit.compute import spread
from lapsekit.errors import ArchiveError, LapsekitError, PictureError, SettingsError
from lapsekit.progress import Track, silent
from lapsekit.resources import shipped_model_text
from lapsekit.season import REGIONS_FILE, Season
from lapsekit.settings import CanopyTable, Outline, Region
from lapsekit.vision.canopy import CanopyModel, classify
from lapsekit.vision.daily import day_value
from lapsekit.vision.pictures import decode
from lapsekit.vision.regions import outside, region_canopy, region_mask
from lapsekit.vision.screening import Limits, screen

#: Raised by hand whenever the arithmetic of this stage changes its results.
ARITHMETIC = 1


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
    """

    measured: int = 0
    done_before: int = 0
    left_out: Counter = field(default_factory=Counter)
    unreadable: list[tuple[str, str]] = field(default_factory=list)
    days: int = 0


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
        self.limits = Limits(**settings.screening.model_dump())
        self.scales = {name: c.scale_px_per_cm for name, c in settings.cameras.items()}
        versions = {"cv2": cv2.__version__, "numpy": np.__version__, "arithmetic": ARITHMETIC}
        self.screening_mark = _mark(asdict(self.limits), versions)
        self._canopy = (self.screening_mark, self.method, self.model and self.model.mark)

    def outlines(self, frame: Frame) -> list[tuple[Region, Outline]]:
        """Regions that a frame shows, with the outline valid on its day."""
        pairs = (
            (region, region.outline_on(frame.day))
            for region in self.season.regions.region
            if region.camera == frame.camera
        )
        return [(region, outline) for region, outline in pairs if outline is not None]

    def mark(self, camera: str, outline: Outline) -> str:
        """Settings mark of a region's measurement in a frame of `camera`."""
        return _mark(self._canopy, self.scales[camera], outline.points)

    def marks(self, frame: Frame) -> dict[str, str]:
        """Marks that the frame's measurements carry when they are up to date, by region."""
        return {r.name: self.mark(frame.camera, o) for r, o in self.outlines(frame)}

    def measure(self, frame: Frame) -> tuple[Screening, list[Measurement]]:
        """Screen one frame and, if it is usable, measure its regions."""
        try:
            picture = decode(self.season.archive.read(frame.path))
        except (PictureError, ArchiveError):
            reasons = ("unreadable",)
            return Screening(frame.path, self.screening_mark, reasons, None, None, None), []
        verdict = screen(picture, self.limits)
        screening = Screening(
            frame.path,
            self.screening_mark,
            verdict.reasons,
            round(verdict.luminance, 6),
            round(verdict.clipped, 6),
            round(verdict.blur, 6),
        )
        regions = self.outlines(frame)
        if verdict.reasons or not regions:
            return screening, []
        canopy = classify(picture, self.method, self.model)
        return screening, [self._region(frame, canopy, r, o) for r, o in regions]

    def _region(
        self, frame: Frame, canopy: np.ndarray, region: Region, outline: Outline
    ) -> Measurement:
        inside = _cached_region_mask(canopy.shape, outline.points)
        found = region_canopy(canopy, inside, self.scales[frame.camera])
        return Measurement(
            frame.path, region.name, self.mark(frame.camera, outline), **asdict(found)
        )


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
    ruler = _Ruler(season)
    report = MeasureReport(unreadable=season.index(track=track).unreadable)
    catalogue = season.catalogue
    _check_outlines(season)
    catalogue.keep_regions(list(season.regions.by_name))
    frames = [f for f in catalogue.frames() if f.camera in season.settings.cameras]
    waiting = _not_done(frames, ruler)
    report.done_before = len(frames) - len(waiting)
    cv2.setNumThreads(1)
    for screening, measurements in track(
        spread(ruler.measure, waiting, workers), len(waiting), "measuring"
    ):
        catalogue.record(screening, measurements)
        report.measured += 1
        report.left_out.update(screening.reasons)
    report.days = _work_out_days(season)
    return report


def _not_done(frames: Iterable[Frame], ruler: _Ruler) -> list[Frame]:
    catalogue = ruler.season.catalogue
    screened = {s.path: s for _, s in catalogue.screenings()}
    measured = catalogue.measurement_marks()

    def done(frame: Frame) -> bool:
        screening = screened.get(frame.path)
        if screening is None or screening.mark != ruler.screening_mark:
            return False
        return bool(screening.reasons) or measured.get(frame.path, {}) == ruler.marks(frame)

    return [f for f in frames if not done(f)]


def _check_outlines(season: Season) -> None:
    sizes = {c: season.catalogue.picture_sizes(c) for c in season.settings.cameras}
    for region in season.regions.region:
        for number, outline in enumerate(region.outline, start=1):
            for width, height, path in sizes[region.camera]:
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
    rows = [m for _, m in season.catalogue.measurements(region.name, day)]
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
