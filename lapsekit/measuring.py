"""Stage: frames not yet measured -> screening, measurements and daily values.

Each frame's figures and measurements are taken from one reading of it; whether it is used is
judged after, beside the other frames (`lapsekit.judging`), and can change as later frames come,
without measuring it again.

Each screening and measurement carries a *settings mark*: a hash of every setting, the model and
the library versions that shaped it. A frame is done when its rows carry the marks that today's
settings give; whatever differs is measured again, and nothing else. A daily value is dropped as
soon as a frame of its day waits.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import partial
from typing import Protocol

import cv2

from lapsekit.catalogue import NOT_JUDGED, Frame
from lapsekit.compute import spread
from lapsekit.days import work_out_days
from lapsekit.errors import SettingsError
from lapsekit.frames.indexing import Content
from lapsekit.judging import judge_season, verdicts_waiting
from lapsekit.memory import Need, at_once
from lapsekit.progress import Track, silent
from lapsekit.ruler import Rows, Ruler
from lapsekit.season import COLOURS_FILE, REGIONS_FILE, SETTINGS_FILE, Season
from lapsekit.undone import frames_not_done
from lapsekit.viewing import matrix_of
from lapsekit.vision.knocks import Knock, knocks
from lapsekit.vision.regions import outside

KNOCK_DAYS = 90
"""Days of whose knocks measuring tells; those before it told of then."""

_FEW = 4
_NEED = Need(held_mb=170, each_mb=160)


@dataclass
class MeasureReport:
    """What measuring did.

    Attributes
    ----------
    measured : int
        Frames measured now.
    done_before : int
        Frames whose rows were up to date.
    frames, frames_left_out : int
        Frames of the whole season that are judged, whenever they were measured, and those of them
        that are not used.
    left_out : dict of str to int
        Why, by how many of them; a frame may have two reasons.
    unreadable : list of (path, reason)
        Files in the archive that are not whole pictures.
    days : int
        Daily values worked out now.
    notes : list of str
        What a grower should know of frames that get no area or no value.
    """

    measured: int = 0
    done_before: int = 0
    frames: int = 0
    frames_left_out: int = 0
    left_out: Counter = field(default_factory=Counter)
    unreadable: list[tuple[str, str]] = field(default_factory=list)
    days: int = 0
    notes: list[str] = field(default_factory=list)


class Elsewhere(Protocol):
    """Other machines that frames are looked at and measured on."""

    def looked_at(self, season: Season, paths: list[str]) -> Iterator[Content | str]:
        """What is in new frame files, in order; see `lapsekit.frames.indexing.Look`."""

    def measured(self, ruler: Ruler, frames: list[Frame]) -> Iterator[Rows | str]:
        """Rows of frames, in order, as `Ruler.measure` gives them; their covers are kept."""


def measure(
    season: Season,
    workers: int | None = None,
    track: Track = silent,
    elsewhere: Elsewhere | None = None,
) -> MeasureReport:
    """Measure every frame that is not measured yet, then the days that changed.

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock.
    workers : int, optional
        Frames worked on at once; by default one a core, as far as memory goes.
    track : Track
        Told about progress.
    elsewhere : Elsewhere, optional
        Where frames are measured; in this process by default. Judging, and days, which rest on
        those before, are always worked out here.

    Returns
    -------
    MeasureReport

    Raises
    ------
    SettingsError
        If an outline, a grey card or what a scale is told by lies outside its camera's view,
        before anything is measured.
    """
    look = elsewhere and partial(elsewhere.looked_at, season)
    report = MeasureReport(unreadable=season.index(track=track, look=look).unreadable)
    catalogue = season.catalogue
    ruler = Ruler(season)
    _check_points(ruler)
    cut_off = _check_outlines(ruler)
    catalogue.keep_regions({r.name: r.camera for r in season.regions.region})
    waiting, report.done_before = frames_not_done(ruler, note=True)
    catalogue.forget_days({frame.day for frame in waiting})
    report.notes = [*_other_sizes(season), *cut_off, *unoutlined(season)]
    views = [ruler.views[c] for c in sorted({f.camera for f in waiting})]
    cv2.setNumThreads(1)
    if elsewhere is None:
        ruler.prepare(waiting)
        workers = at_once(_NEED, workers, season.settings.compute.memory_mb)
        results = spread(ruler.measure, waiting, workers)
    else:
        results = elsewhere.measured(ruler, waiting)
    for frame, found in track(zip(waiting, results, strict=True), len(waiting), "measuring"):
        if isinstance(found, str):
            report.unreadable.append((frame.path, found))
            continue
        catalogue.record(*found)
        report.measured += 1
    ruler.rest()
    report.notes += [note for view in views for note in view.notes]
    for camera in season.settings.cameras:
        catalogue.keep_thinned_figures(camera, ruler.figures_mark(camera))
    report.notes += judge_season(season)
    _count_left_out(season, report)
    report.notes += [_knocked(found) for found in season_knocks(season, KNOCK_DAYS)]
    report.days = work_out_days(season, ruler, track)
    report.notes += _hanging_on_colours(season)
    return report


def _count_left_out(season: Season, report: MeasureReport) -> None:
    """Count all frames: verdicts of those measured before may have changed beside new ones."""
    for _, _, reasons, number in season.catalogue.counts():
        if reasons is None or NOT_JUDGED in reasons:
            continue
        report.frames += number
        report.frames_left_out += number if reasons else 0
        report.left_out.update(dict.fromkeys(reasons, number))


def rejudge(season: Season, track: Track = silent) -> int:
    """Judge measured frames by verdicts.csv as it stands; how many days got other values.

    The caller holds the season's stage lock; `track` is told about progress.
    """
    judge_season(season)
    return work_out_days(season, Ruler(season), track)


@dataclass(frozen=True)
class DatedKnock:
    """A lasting change of a camera's view, dated between two frames."""

    camera: str
    before: Frame
    at: Frame
    knock: Knock


def season_knocks(season: Season, days: int | None = None) -> list[DatedKnock]:
    """Lasting changes of every camera's view so far, in order of time.

    Parameters
    ----------
    season : Season
    days : int, optional
        Only those of each camera's last days; all by default.
    """
    found = []
    for camera in season.settings.cameras:
        last = season.catalogue.last_day(camera) if days else None
        since = last - timedelta(days=days) if last else date.min
        placed = season.catalogue.placements(camera, since)
        if not placed:
            continue
        matrices = [matrix_of(placement) for _, placement in placed]
        for knock in knocks(matrices, (placed[0][0].height, placed[0][0].width)):
            before, at = placed[knock.before][0], placed[knock.at][0]
            found.append(DatedKnock(camera, before, at, knock))
    return found


def _knocked(found: DatedKnock) -> str:
    knock = found.knock
    return (
        f'camera "{found.camera}" was moved between {found.before.path} and {found.at.path}, by '
        f"{knock.size_px:.1f} px and {knock.turn_deg:+.2f} degrees; outlines are carried along"
    )


def frames_waiting(season: Season) -> int:
    """How many frames are not measured, or not judged, by today's settings."""
    waiting, done = frames_not_done(Ruler(season))
    return len(waiting) + (done if verdicts_waiting(season) else 0)


HANGING = 0.25
"""Half-width of an interval, as a share of the value, by faint colours alone, that is told."""

_NO_AREA = "get no area, since its scale holds for that size"
_AS_THEY_ARE = (
    "count on days without others alone, taken as they are within the outlines: plants that meet "
    "are not told apart then"
)


def _other_sizes(season: Season) -> list[str]:
    """A sentence for each camera whose frames are not all of one size."""
    return [
        f'camera "{name}": frames of another size than its first ({sizes[0][0]} x {sizes[0][1]}) '
        f"{_NO_AREA if camera.scale.is_known else _AS_THEY_ARE}; give the new view a camera of "
        "its own"
        for name, camera in season.settings.cameras.items()
        if len(sizes := season.catalogue.picture_sizes(name)) > 1
    ]


def unoutlined(season: Season) -> list[str]:
    """A sentence for each region with frames of days before its first outline."""
    notes = []
    for region in season.regions.region:
        first = region.outline[0].valid_from
        early = [d for d in season.catalogue.days_of_camera(region.camera) if d < first]
        if early:
            notes.append(
                f'region "{region.name}": {len(early)} days with frames before its first outline '
                f"(from = {first} in {REGIONS_FILE}) have no value; write an earlier day there to "
                "measure them"
            )
    return notes


def _hanging_on_colours(season: Season) -> list[str]:
    """A sentence for each region, not yet ended, whose last value hangs on strong colours."""
    notes = []
    for region in season.regions.region:
        last = season.catalogue.last_daily(region.name)
        if last is None or last.day == region.until:
            continue
        value = last.cover if last.area_cm2 is None else last.area_cm2
        if value and (half := last.parts.get("colours", 0.0) / value) >= HANGING:
            notes.append(
                f'region "{region.name}": its leaves are hard to tell from what is around them '
                f"(that alone may move the value of {last.day} by {half:.0%}); look at lapsekit "
                f"explain {region.name} {last.day}, and draw strokes over what it misses "
                f"({COLOURS_FILE})"
            )
    return notes


def _check_points(ruler: Ruler) -> None:
    """Whether what season.toml tells of a view lies within it."""
    for name, view in ruler.views.items():
        if view.frame is None:
            continue
        told = view.settings
        for key in ("scale_points", "scale_rectangle", "grey_card"):
            found = outside((view.frame.height, view.frame.width), getattr(told, key))
            if found:
                point, (x, y) = found
                raise SettingsError(
                    f"{ruler.season.folder / SETTINGS_FILE}: cameras.{name}.{key}, point {point} = "
                    f"[{x:g}, {y:g}] lies outside the picture (0 to {view.frame.width} and 0 to "
                    f"{view.frame.height} px, as {view.frame.path} has); read it off a frame as it "
                    "is filed"
                )


def _check_outlines(ruler: Ruler) -> list[str]:
    """Whether outlines lie within their cameras' views; a sentence for each size that cuts some.

    A picture of another size may have strayed in: the rest is measured all the same.
    """
    season, cut = ruler.season, defaultdict(list)
    sizes = {c: season.catalogue.picture_sizes(c) for c in season.settings.cameras}
    for region in season.regions.region:
        ends = [o.valid_from for o in region.outline[1:]] + [date.max]
        usual = ruler.views[region.camera].frame
        for number, (outline, end) in enumerate(zip(region.outline, ends, strict=True), start=1):
            seen = [s for s in sizes[region.camera] if s[2] < end and s[3] >= outline.valid_from]
            size = usual and (usual.width, usual.height)
            has_usual = any(each[:2] == size for each in seen)
            for width, height, *_, path in seen:
                found = outside((height, width), outline.points)
                if found and has_usual and (width, height) != size:
                    cut[region.camera, width, height, path].append(region.name)
                elif found:
                    point, (x, y) = found
                    raise SettingsError(
                        f'{season.folder / REGIONS_FILE}: region "{region.name}", outline '
                        f"{number}, point {point} = [{x:g}, {y:g}] lies outside the picture "
                        f"(0 to {width} and 0 to {height} px, as {path} has); move the point inside"
                    )
    return [
        f'camera "{camera}": frames of {width} x {height} px, such as {path}, do not show all of '
        f"{_some(list(dict.fromkeys(names)))}, and give no value there; give a new view a camera "
        "of its own, and take pictures that strayed in out of the frames folder"
        for (camera, width, height, path), names in cut.items()
    ]


def _some(names: list[str]) -> str:
    """The first few names, and how many more there are."""
    more = len(names) - _FEW
    return ", ".join(names) if more <= 0 else f"{', '.join(names[:_FEW])} and {more} more"
