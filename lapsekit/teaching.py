"""What the strokes of a season's colours.csv teach, and where in a frame it counts.

A stroke inside a region's outline speaks of that region's plants and ground, and of those of its
group: a red that is lettuce in one pot may be shaded soil in the next. A stroke outside all
outlines, over a hose or a moss-grown wall, counts in the whole picture.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import cv2
import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.errors import ArchiveError, PictureError, SettingsError
from lapsekit.season import COLOURS_FILE, Season
from lapsekit.settings import Region
from lapsekit.viewing import View, matrix_of
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.homographies import project
from lapsekit.vision.reduction import reduced_points
from lapsekit.vision.regions import region_mask
from lapsekit.vision.registration import Registration
from lapsekit.vision.strokes import Stroke, read_strokes
from lapsekit.vision.trained_colours import Lesson, TrainedColours, ZonedColours

Key = str | None
"""Group, or name, of the regions that strokes speak of; None for those that count everywhere."""


def strokes_of(season: Season, model: CanopyModel | None) -> tuple[Stroke, ...]:
    """The strokes of the season's colours.csv, none without that file.

    Raises
    ------
    SettingsError
        If the file cannot be used, or there is no model to teach.
    """
    path = season.folder / COLOURS_FILE
    if not path.exists():
        return ()
    try:
        strokes = read_strokes(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error})") from error
    except SettingsError as error:
        raise SettingsError(f"{path.parent}: {error}") from error
    if strokes and model is None:
        raise SettingsError(
            f'{path}: strokes teach the canopy model, but canopy.method is "'
            f'{season.settings.canopy.method}"; set it to "model", or move the file away'
        )
    return strokes


@dataclass(frozen=True, eq=False)
class Taught:
    """What strokes taught, for the regions they speak of.

    Attributes
    ----------
    regions : tuple of Region
        The season's.
    tables : mapping of key to TrainedColours
        Those of a region's key know the strokes that count everywhere too.
    frames : frozenset of str
        The frames that strokes lie on.
    strokes : int
        How many there are.
    """

    regions: tuple[Region, ...]
    tables: Mapping[Key, TrainedColours]
    frames: frozenset[str]
    strokes: int

    @cached_property
    def mark(self) -> tuple[tuple[str, ...], ...]:
        """What of it shapes a measurement: tables, and the outlines they count in."""
        return tuple(
            (key or "", table.mark, *(str(r.outline) for r in self.regions if key_of(r) == key))
            for key, table in self.tables.items()
        )

    def on(self, frame: Frame, view: View, matrix: np.ndarray | None) -> ZonedColours:
        """What it says in one frame, by where its regions lie there.

        Parameters
        ----------
        frame : Frame
        view : View
            Of the frame's camera.
        matrix : (3, 3) ndarray or None
            From the reference view to the frame, as measured.
        """
        shape, zones = view.shape_of(frame), []
        for key, table in self.tables.items():
            if key is None:
                zones.append((None, table))
                continue
            mask = np.zeros(shape, bool)
            for region in self.regions:
                if region.camera == frame.camera and key_of(region) == key:
                    mask |= _outline_in(frame, region, view, matrix, shape)
            zones.append((mask, table))
        return ZonedColours(tuple(zones))


def key_of(region: Region) -> Key:
    """What a region's strokes are shared by: its group, or the region alone."""
    return f"group {region.group}" if region.group else f"region {region.name}"


def learn(season: Season, views: Mapping[str, View], model: CanopyModel | None) -> Taught | None:
    """Learn from the season's strokes, in the light that frames are judged in.

    Parameters
    ----------
    season : Season
    views : mapping of camera to View
    model : CanopyModel or None
        What the strokes teach.

    Returns
    -------
    Taught or None
        None without strokes.

    Raises
    ------
    SettingsError
        If colours.csv cannot be used or names a frame that is not there.
    """
    strokes = strokes_of(season, model)
    known = {f.path: f for f in season.catalogue.frames()} if strokes else {}
    lessons: dict[Key, list[Lesson]] = defaultdict(list)
    for name in dict.fromkeys(stroke.frame for stroke in strokes):
        try:
            frame, view = known[name], views[known[name].camera]
            picture = view.picture(frame)
        except (ArchiveError, PictureError, KeyError) as error:
            raise SettingsError(
                f"{season.folder / COLOURS_FILE}: strokes on {name}, which cannot be read "
                f"({error}); name a frame of this season, or take those lines out"
            ) from error
        found = view.find_in(picture) if view.fits(frame) else None
        matrix = matrix_of(found if isinstance(found, Registration) else None)
        lit = view.in_its_light(picture, matrix)
        odds = model.odds(lit)
        mine = defaultdict(list)
        for stroke in strokes:
            if stroke.frame == name:
                reduced = _reduced(stroke, view.by)
                mine[_key_at(reduced, season.regions.region, frame, view, matrix)].append(reduced)
        for key, here in mine.items():
            lessons[key].append(Lesson(lit, tuple(here), odds=odds))
    if not lessons:
        return None
    everywhere = lessons.pop(None, [])
    tables = {key: TrainedColours.learn([*everywhere, *own]) for key, own in lessons.items()}
    if everywhere:
        tables = {None: TrainedColours.learn(everywhere)} | tables
    frames = frozenset(stroke.frame for stroke in strokes)
    return Taught(season.regions.region, tables, frames, len(strokes))


def _reduced(stroke: Stroke, by: int) -> Stroke:
    """A stroke on a whole frame as it lies in the reduced one."""
    points = reduced_points(stroke.points, by)
    return replace(stroke, width_px=stroke.width_px / by, points=points)


def _key_at(
    stroke: Stroke, regions: Sequence[Region], frame: Frame, view: View, matrix: np.ndarray | None
) -> Key:
    """The key of the smallest outline that holds most of a stroke's points; None if none does."""
    points = np.array(stroke.points, float)
    if matrix is not None:
        points = project(np.linalg.inv(matrix), points)
    best: tuple[float, Key] = (np.inf, None)
    for region in regions:
        outline = _points_on(region, frame.day, view) if region.camera == frame.camera else None
        if outline is None:
            continue
        corners = np.float32(outline)
        held = sum(cv2.pointPolygonTest(corners, tuple(map(float, p)), False) >= 0 for p in points)
        if 2 * held > len(points):
            best = min(best, (float(cv2.contourArea(corners)), key_of(region)), key=lambda b: b[0])
    return best[1]


def _points_on(region: Region, day: date, view: View):
    """A region's outline in the measured reference view; None without one, or for the whole."""
    outline = region.outline_on(day)
    return outline and view.points_on(outline)


def _outline_in(frame, region, view, matrix, shape) -> np.ndarray:
    """Pixels of a frame within a region's outline: (H, W) bool."""
    outline = region.outline_on(frame.day)
    if outline is None:
        return np.zeros(shape, bool)
    points = view.points_on(outline)
    if points is not None and matrix is not None:
        points = project(matrix, np.array(points, float)).tolist()
    return region_mask(shape, points)
