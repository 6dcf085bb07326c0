"""Puts crops of each region through time into the site, in the reference view.

Each crop is encoded once: its name carries a hash of its frame and of where it was cut. A frame is
decoded once for all of its regions, as small as they allow, and let go before the next.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from PIL import Image

from lapsekit.catalogue import Frame
from lapsekit.errors import ArchiveError, PictureError, SettingsError
from lapsekit.progress import Track, silent
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.site import pictures
from lapsekit.site.almanac import Almanac
from lapsekit.site.crops import LONG_SIDE, Moment, cut, moments, reduction_for
from lapsekit.site.turning import (
    Size,
    crop_matrix,
    crop_size_of,
    turn_of,
    union_box,
)
from lapsekit.site.writing import SiteFolder
from lapsekit.viewing import View, matrix_of
from lapsekit.vision.pictures import decode_reduced

_AS_IT_IS = np.eye(3)


@dataclass(frozen=True)
class Sight:
    """Where a camera's frames lie in its reference view.

    Attributes
    ----------
    size : (int, int)
        Width and height of the reference view in px.
    matrices : dict
        From the reference view to each frame, by path; a frame that is taken as it is has none.
    """

    size: Size
    matrices: dict[str, np.ndarray]

    def turn(self, frame: Frame) -> tuple[float, ...] | None:
        """See `turn_of`; a frame of another shape fills the view as it is."""
        return turn_of(self.matrices.get(frame.path), (frame.width, frame.height), self.size)

    def fits(self, frame: Frame) -> bool:
        """Whether the frame has the view's size; where things lie in others is not known."""
        return (frame.width, frame.height) == self.size


def sight_of(view: View, frames: Mapping[date, Frame]) -> Sight | None:
    """A camera's sight; None while there is no frame of it.

    Parameters
    ----------
    view : View
        The camera's reference view.
    frames : mapping of date to Frame
        Its daily pictures: the first stands for the view where none can be told.
    """
    try:
        reference = view.frame
    except SettingsError:  # it names a frame that is gone; measuring says so
        reference = None
    reference = reference or (frames[min(frames)] if frames else None)
    if reference is None:
        return None
    shown = {frame.path for frame in frames.values()}
    placed = {
        path: matrix_of(placement)
        for path, placement in view.season.catalogue.placed(shown).items()
    }
    return Sight((reference.width, reference.height), placed)


def cm_per_px(view: View) -> float | None:
    """Side of a pixel of a camera's full picture on the bench, in cm, in the middle of the view.

    None without a scale, or where its scale cannot be told (measuring says why).
    """
    try:
        if view.frame is None or view.scale.plane is None:
            return None
        middle = np.array([[side / 2 for side in view.shape[::-1]]])
        return round(float(view.scale.plane.cm2_per_px(middle)[0] ** 0.5) / view.by, 6)
    except (SettingsError, ArchiveError, PictureError):
        return None


@dataclass(frozen=True)
class Crop:
    """One crop as a page shows it: ``STEM.KIND``; a gap has no stem.

    Attributes
    ----------
    day : date
        The day it stands for.
    shown : date or None
        The day of its picture.
    stem : str or None
        From the site's root.
    width, height : int
        In px; the same for all of a region's.
    """

    day: date
    shown: date | None
    stem: str | None
    width: int
    height: int
    kinds: tuple[str, ...] = pictures.KINDS


def plants_of(almanac: Almanac) -> dict[str, list[Region]]:
    """Regions by the name of what tables list: one, or all those of a group by one camera."""
    found = {}
    for row in almanac.rows:
        alike = [r for r in almanac.plants if r.group == row.group and r.camera == row.camera]
        itself = [r for r in almanac.regions if r.name == row.name]
        found[row.name] = itself or alike
    return found


@dataclass(frozen=True)
class _Job:
    """A crop to be made: where to, at which size, and from px of it to px of the frame."""

    stem: str
    size: Size
    turn: np.ndarray


def show_crops(
    season: Season,
    almanac: Almanac,
    folder: SiteFolder,
    sights: Mapping[str, Sight],
    plants: Mapping[str, Sequence[Region]],
    track: Track = silent,
    days: Mapping[str, Collection[date]] | None = None,
) -> dict[str, list[Crop]]:
    """Put up the crops of each plant, or of each group of them.

    Parameters
    ----------
    season : Season
        Where frames are read.
    almanac : Almanac
        What is shown of them.
    folder : SiteFolder
        Where crops go.
    sights : mapping of str to Sight
        By camera; see `sight_of`.
    plants : mapping of str to sequence of Region
        The regions, of one camera, that each name stands for.
    track : Track
        Told how far the work is.
    days : mapping of str to collection of date, optional
        The days that are shown of each name, instead of one a week; each has a picture.

    Returns
    -------
    dict of str to list of Crop
        In order of day; empty where nothing of the plant was seen. A frame that cannot be read
        leaves gaps.
    """
    rows: dict[str, list[tuple[Moment, _Job | None]]] = {}
    needed: dict[Frame, list[_Job]] = {}
    for name, regions in plants.items():
        sight, frames = sights.get(regions[0].camera), almanac.pictures.get(regions[0].camera, {})
        wanted = None if days is None else days.get(name, ())
        rows[name] = _row(regions, sight, frames, wanted) if sight else []
        for moment, job in rows[name]:
            if job and not all(folder.has(f"{job.stem}.{kind}") for kind in pictures.KINDS):
                needed.setdefault(frames[moment.shown], []).append(job)
    lost: set[str] = set()
    for frame, jobs in track(list(needed.items()), len(needed), "crops"):
        try:
            _make(season, folder, frame, jobs)
        except (ArchiveError, PictureError):  # the almanac tells it where its picture is shown
            lost.update(job.stem for job in jobs)
    return {
        name: [
            _crop(moment, None if job is None or job.stem in lost else job, size)
            for moment, job in row
        ]
        for name, row in rows.items()
        for size in [next((job.size for _, job in row if job), (LONG_SIDE, LONG_SIDE))]
    }


def seen_days(regions: Sequence[Region], sight: Sight, frames: Mapping[date, Frame]) -> set[date]:
    """Days of which there is a picture that shows where the regions lie, from their first on."""
    first = min(region.outline[0].valid_from for region in regions)
    return {day for day, frame in frames.items() if day >= first and sight.fits(frame)}


def _row(
    regions: Sequence[Region],
    sight: Sight,
    frames: Mapping[date, Frame],
    days: Collection[date] | None,
) -> list[tuple[Moment, _Job | None]]:
    """The moments of a plant, each with the crop that shows it; None for a gap."""
    box = union_box(regions, sight.size)
    size = crop_size_of(box, sight.size, LONG_SIDE)
    place = crop_matrix(box, sight.size, size)
    first = min(region.outline[0].valid_from for region in regions)
    if days is None:
        seen = {
            day
            for day, frame in frames.items()
            if sight.fits(frame) and any(region.outline_on(day) for region in regions)
        }
        found = moments(first, seen)
    else:
        found = [Moment(day, day) for day in sorted(days)]
    jobs = iter(_jobs([frames[each.shown] for each in found if each.shown], sight, size, place))
    return [(each, next(jobs) if each.shown else None) for each in found]


def _jobs(frames: Sequence[Frame], sight: Sight, size: Size, place: np.ndarray) -> Iterator[_Job]:
    """Crops of `size` that lie in the reference view as the matrix `place` says."""
    if not frames:
        return
    turns = np.array([sight.matrices.get(frame.path, _AS_IT_IS) for frame in frames]) @ place
    for frame, turn, told in zip(frames, turns, np.round(turns, 6).tolist(), strict=True):
        name = pictures.mark(frame.sha256, size, told)
        yield _Job(f"pictures/{frame.camera}/crops/{frame.day}-{name}", size, turn)


def _make(season: Season, folder: SiteFolder, frame: Frame, jobs: Sequence[_Job]) -> None:
    """Put up crops of one frame."""
    by = min(reduction_for(job.turn, job.size) for job in jobs)
    shape = (frame.height, frame.width)
    pixels = decode_reduced(season.archive.read(frame.path), by, shape)
    for job in jobs:
        crop = Image.fromarray(cut(pixels, job.turn, job.size, by))
        for kind in pictures.KINDS:
            folder.put(f"{job.stem}.{kind}", pictures.encode(crop, kind))


def _crop(moment: Moment, job: _Job | None, size: Size) -> Crop:
    if job is None:
        return Crop(moment.day, None, None, *size)
    return Crop(moment.day, moment.shown, job.stem, *size)
