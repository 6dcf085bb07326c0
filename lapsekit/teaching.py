"""What the strokes of a season's colours.csv teach, and where in a frame it counts.

A stroke inside a region's outline speaks of that region's plants and ground, and of those of its
group: a red that is lettuce in one pot may be shaded soil in the next. A stroke outside all
outlines, over a hose or a moss-grown wall, counts in the whole picture.
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
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
from lapsekit.vision.detail import Detail
from lapsekit.vision.homographies import project
from lapsekit.vision.reduction import reduced_points
from lapsekit.vision.regions import region_mask
from lapsekit.vision.registration import Registration
from lapsekit.vision.strokes import Stroke, read_strokes
from lapsekit.vision.trained_colours import Lesson, Seen, TrainedColours, ZonedColours

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
        return self.zoned(lambda key: zone_of(self.regions, key, frame, view, matrix))

    def zoned(self, zone: Callable[[Key], np.ndarray]) -> ZonedColours:
        """What it says in one frame, where `zone` gives the pixels that a key speaks of."""
        return ZonedColours(
            tuple((key if key is None else zone(key), table) for key, table in self.tables.items())
        )


def zone_of(
    regions: Sequence[Region], key: Key, frame: Frame, view: View, matrix: np.ndarray | None
) -> np.ndarray:
    """Pixels of a measured frame that a region's, or a group's, strokes speak of: (H, W) bool."""
    shape = view.shape_of(frame)
    mask = np.zeros(shape, bool)
    for region in regions:
        if region.camera == frame.camera and key_of(region) == key:
            mask |= _outline_in(frame, region, view, matrix, shape)
    return mask


def key_of(region: Region) -> Key:
    """What a region's strokes are shared by: its group, or the region alone."""
    return f"group {region.group}" if region.group else f"region {region.name}"


@dataclass(frozen=True, eq=False)
class _Blackboard:
    """A frame that strokes lie on, as it is measured, with the region that each speaks of."""

    frame: Frame
    view: View
    matrix: np.ndarray | None
    seen: Seen
    regions: Sequence[Region]

    @cached_property
    def _keys(self) -> dict[Stroke, tuple[Key, Stroke]]:
        return {}

    def by_key(self, strokes: Sequence[Stroke]) -> dict[Key, Lesson]:
        """What strokes on this frame teach, by whom they speak of."""
        mine = defaultdict(list)
        for stroke in strokes:
            if stroke not in self._keys:
                drawn = _reduced(stroke, self.view.by)
                key = _key_at(drawn, self.regions, self.frame, self.view, self.matrix)
                self._keys[stroke] = key, drawn
            key, drawn = self._keys[stroke]
            mine[key].append(drawn)
        return {key: Lesson(self.seen, tuple(here)) for key, here in mine.items()}


class Teacher:
    """Learns from strokes again and again; what takes long about their frames is done once.

    Parameters
    ----------
    season : Season
    views : mapping of camera to View
    model : CanopyModel or None
        What the strokes teach; it is asked only where there are strokes.
    """

    def __init__(self, season: Season, views: Mapping[str, View], model: CanopyModel | None):
        self._season, self._views, self._model = season, views, model
        self._boards: dict[str, _Blackboard] = {}
        self._tables: dict[tuple, TrainedColours] = {}

    def taught(self, strokes: Sequence[Stroke]) -> Taught | None:
        """What strokes teach, in the light that frames are judged in.

        Parameters
        ----------
        strokes : sequence of Stroke
            All that the season shall know.

        Returns
        -------
        Taught or None
            None without strokes.

        Raises
        ------
        SettingsError
            If a stroke names a frame that is not there.
        """
        lessons: dict[Key, list[Lesson]] = defaultdict(list)
        of_frame = defaultdict(list)
        for stroke in strokes:
            of_frame[stroke.frame].append(stroke)
        for name, here in of_frame.items():
            for key, lesson in self.look_at(name).by_key(here).items():
                lessons[key].append(lesson)
        if not lessons:
            return None
        everywhere = lessons.pop(None, [])
        tables = {key: [*everywhere, *own] for key, own in lessons.items()}
        if everywhere:
            tables = {None: everywhere} | tables
        regions = self._season.regions.region
        return Taught(regions, self._learned(tables), frozenset(of_frame), len(strokes))

    def _learned(self, lessons: Mapping[Key, list[Lesson]]) -> dict[Key, TrainedColours]:
        """A table a key; what did not change since the last time is not learned again."""
        before, self._tables, found = self._tables, {}, {}
        for key, mine in lessons.items():
            told = tuple((lesson.seen, lesson.strokes) for lesson in mine)
            found[key] = before.get(told) or TrainedColours.learn(mine)
            self._tables[told] = found[key]
        return found

    def look_at(self, name: str) -> _Blackboard:
        """Make a frame ready for strokes; raises SettingsError if there is no such frame."""
        if name not in self._boards:
            frame, view, picture, detail = self._read(name)
            found = view.find_in(picture) if view.fits(frame) else None
            matrix = matrix_of(found if isinstance(found, Registration) else None)
            lit = view.in_its_light(picture, matrix)
            seen = Seen(lit, self._model.odds(lit, detail))
            self._boards[name] = _Blackboard(frame, view, matrix, seen, self._season.regions.region)
        return self._boards[name]

    def _read(self, name: str) -> tuple[Frame, View, np.ndarray, Detail]:
        try:
            frame = self._season.catalogue.frame(name)
            if frame is None:
                raise KeyError(name)
            view = self._views[frame.camera]
            return frame, view, *view.read(frame)
        except (ArchiveError, PictureError, KeyError) as error:
            raise SettingsError(
                f"{self._season.folder / COLOURS_FILE}: strokes on {name}, which cannot be read "
                f"({error}); name a frame of this season, or take those lines out"
            ) from error


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
