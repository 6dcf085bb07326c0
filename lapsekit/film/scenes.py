"""A panel made ready to be painted: where its frames lie, what of them is shown, in what light."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property

import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.errors import FilmError, SettingsError
from lapsekit.film.following import followed
from lapsekit.film.framing import Framing, framed
from lapsekit.film.pacing import Beat
from lapsekit.film.sources import Panel, Source
from lapsekit.film.windows import Box, Size, Window, union
from lapsekit.season import Season
from lapsekit.settings import Cut, Region
from lapsekit.viewing import View, matrix_of
from lapsekit.vision.knocks import knocks
from lapsekit.vision.steadying import steadied

Place = tuple[int, int]
"""Day and place among its frames, as beats name them."""


@dataclass
class Scene:
    """A panel with the places of its frames.

    Attributes
    ----------
    panel : Panel
    size : (int, int)
        Width and height of its picture in the film, px.
    view : (int, int)
        Height and width of the reference view in px.
    placements : dict
        From the reference view to each frame, by path.
    framing : Framing
    order : list of Source
        Its frames in order of time, as the framing counts them.
    left_out : list of str
        Frames that are not shown, and why.
    """

    panel: Panel
    size: Size
    view: tuple[int, int]
    placements: dict[str, np.ndarray | None]
    framing: Framing
    order: list[Source]
    left_out: list[str] = field(default_factory=list)

    @property
    def counts(self) -> dict[int, int]:
        """How many frames each day has."""
        return {day: len(sources) for day, sources in self.panel.sources.items()}

    def source(self, place: Place) -> Source:
        """The frame of a day."""
        return self.panel.sources[place[0]][place[1]]

    @cached_property
    def _number(self) -> dict[str, int]:
        return {source.frame.path: number for number, source in enumerate(self.order)}

    def windows(self, beats: Sequence[Beat], frames_per_second: float) -> list[tuple[Window, ...]]:
        """For each beat the window of each frame that it shows (none for a beat without one)."""
        if self.panel.region is not None:
            return self._following(beats)
        shown = [
            tuple(self._number[self.source(place).frame.path] for place in beat.places)
            for beat in beats
        ]
        filled = [k for k, each in enumerate(shown) if each]
        found = self.framing.windows([shown[k] for k in filled], frames_per_second)
        by_beat = dict(zip(filled, found, strict=True))
        return [by_beat.get(k, ()) for k in range(len(beats))]

    def _following(self, beats: Sequence[Beat]) -> list[tuple[Window, ...]]:
        panel = self.panel
        days = [day for day in panel.sources if panel.region.outline_on(panel.day_of(day))]
        boxes = [_box_on(panel.region, panel.day_of(day), self.view) for day in days]
        covered = [
            (self._day_of(self.order[each.first]), each.covered) for each in self.framing.stretches
        ]
        windows = followed(
            boxes, [float(day) for day in days], [b.at_day for b in beats], self.size, covered
        )
        return [(window,) * len(beat.places) for beat, window in zip(beats, windows, strict=True)]

    def _day_of(self, source: Source) -> float:
        return source.at_days - self.panel.origin.toordinal()


def scene_of(panel: Panel, cut: Cut, size: Size, previous: Sequence[Box] = ()) -> Scene:
    """Make a panel ready.

    Parameters
    ----------
    panel : Panel
    cut : Cut
    size : (int, int)
        Width and height of the panel in px.
    previous : sequence of Box
        Windows of the same film made before; they are kept while frames show them.

    Raises
    ------
    FilmError
        If no frame of it can be shown.
    """
    view = view_of(panel)
    order = sorted(
        (source for sources in panel.sources.values() for source in sources),
        key=lambda source: source.frame.taken_at,
    )
    placements, found = [None] * len(order), ()
    if cut.steady:
        raw, errors = _registered(panel, order, view)
        found = knocks(raw, view)
        placements = steadied(raw, errors, [source.at_days for source in order], found, view)
    framing = framed(
        placements,
        view,
        size,
        found,
        wanted=_wanted(panel),
        fit="fill" if panel.region else cut.fit,
        previous=previous,
    )
    laid = {s.frame.path: m for s, m in zip(order, placements, strict=True)}
    laid |= {s.frame.path: _covering(s.frame, view) for s in order if not _fits(s.frame, view)}
    scene = Scene(panel, size, view, laid, framing, order)
    return _without(scene, framing.left_out)


def _without(scene: Scene, numbers: Sequence[int]) -> Scene:
    """The scene without frames that show too little of the window."""
    gone = {scene.order[number].frame.path for number in numbers}
    if not gone:
        return scene
    sources = {
        day: kept
        for day, each in scene.panel.sources.items()
        if (kept := [source for source in each if source.frame.path not in gone])
    }
    if not sources:
        raise FilmError(
            f'camera "{scene.panel.camera}": every frame stands far off the reference view, so '
            "there is nothing to film; name another frame as its reference in season.toml, run "
            "lapsekit measure, then film again, or film with steady = false"
        )
    told = [f"{path}: shows too little of what the film shows" for path in sorted(gone)]
    return replace(scene, panel=replace(scene.panel, sources=sources), left_out=told)


def view_of(panel: Panel) -> tuple[int, int]:
    """Height and width of the reference view; of the first frame where none can be told."""
    try:
        frame = View(panel.season, panel.camera).frame
    except SettingsError:  # it names a frame that is gone; measuring says so
        frame = None
    frame = frame or panel.sources[min(panel.sources)][0].frame
    return frame.height, frame.width


def _registered(panel: Panel, order: Sequence[Source], view: tuple[int, int]):
    """Placements and their errors; a frame of another size is taken to show what the view does."""
    paths = [source.frame.path for source in order]
    rows = panel.season.catalogue.placed(paths)
    matrices, errors = [], []
    for source in order:
        row = rows.get(source.frame.path) if _fits(source.frame, view) else None
        matrices.append(matrix_of(row))
        errors.append(row.error_px if row else None)
    return matrices, errors


def _fits(frame: Frame, view: tuple[int, int]) -> bool:
    return (frame.height, frame.width) == view


def _covering(frame: Frame, view: tuple[int, int]) -> np.ndarray:
    """From px of the view to px of a frame of another size, laid over its middle, undistorted."""
    by = min(frame.width / view[1], frame.height / view[0])
    x, y = ((frame.width - by * view[1]) / 2, (frame.height - by * view[0]) / 2)
    return np.array([[by, 0, x + (by - 1) / 2], [0, by, y + (by - 1) / 2], [0, 0, 1]])


def _wanted(panel: Panel) -> list[Box]:
    """Boxes of the regions, which the picture is centred on."""
    regions = [r for r in panel.season.regions.region if r.camera == panel.camera]
    points = [o.points for region in regions for o in region.outline if o.points is not None]
    return [_box(each) for each in points]


def _box(points: Sequence[tuple[float, float]]) -> Box:
    xs, ys = zip(*points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _box_on(region: Region, day: date, view: tuple[int, int]) -> Box:
    """The box of a region's outline on a day."""
    outline = region.outline_on(day)
    if outline is None or outline.points is None:
        return -0.5, -0.5, view[1] - 0.5, view[0] - 0.5
    return _box(outline.points)


def outlines_on(
    season: Season, camera: str, day: date
) -> Mapping[str, tuple[str, tuple[tuple[float, float], ...]]]:
    """Titles and outlines in the view of what is named on a day; a group is one."""
    found: dict[str, tuple[str, list]] = {}
    for region in season.regions.region:
        outline = region.outline_on(day)
        if region.camera != camera or outline is None or outline.points is None:
            continue
        title = region.group or region.title
        found.setdefault(title, (title, []))[1].append(outline.points)
    return {key: (title, _around(points)) for key, (title, points) in found.items()}


def _around(outlines: Sequence[Sequence[tuple[float, float]]]) -> tuple[tuple[float, float], ...]:
    if len(outlines) == 1:
        return tuple(outlines[0])
    left, top, right, bottom = union([_box(points) for points in outlines])
    return (left, top), (right, top), (right, bottom), (left, bottom)
