"""Stage part: frames -> levels of their light on what does not grow.

Levels of a frame rest on the frame, on where the reference view lies in it, and on what canopy its
day had. They are measured once (`lapsekit.film.kept_light`).
"""

import hashlib
from collections.abc import Sequence
from datetime import date
from functools import lru_cache
from itertools import groupby
from pathlib import PurePosixPath

import cv2
import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.compute import spread
from lapsekit.errors import ArchiveError, PictureError
from lapsekit.film.kept_light import KeptLight
from lapsekit.memory import Need, at_once
from lapsekit.progress import Track, silent
from lapsekit.ruler import Ruler
from lapsekit.season import Season
from lapsekit.settings import Points
from lapsekit.viewing import matrix_of
from lapsekit.vision.light_cells import LightCells, not_green
from lapsekit.vision.pictures import decode_reduced
from lapsekit.vision.regions import region_mask

_FORM = 1  # raised by hand when the same frame gives other levels
_AROUND_CANOPY = 0.025
"""How far around canopy, in shares of the view's width, nothing counts as static: leaves move."""

_REDUCTIONS = (8, 4, 2)
_NEED = Need(held_mb=180, each_mb=40)


def light_of(
    season: Season,
    camera: str,
    frames: Sequence[Frame],
    workers: int | None = None,
    track: Track = silent,
) -> tuple[LightCells, np.ndarray]:
    """Levels of frames on their static surroundings.

    Parameters
    ----------
    season : Season
        An open season with measured frames; the caller holds its stage lock.
    camera : str
        Whose frames they are.
    frames : sequence of Frame
        In order of time, at least one.
    workers : int, optional
        Frames decoded at once; by default one a core, as far as memory goes.
    track : Track
        Told how far the work is, of frames that are not measured yet.

    Returns
    -------
    cells : LightCells
    levels : ndarray of float16, shape (n, cells, 4)
        See `LightCells.measure`; NaN all over for a frame that cannot be read, or does not have
        the size of the reference view.
    """
    measuring, kept = _Measuring(season, camera, frames), KeptLight(season.folder, camera)
    keys = [measuring.key(frame) for frame in frames]
    shape = (measuring.cells.count, 4)
    levels = np.full((len(frames), *shape), np.nan, np.float16)
    missing = []
    for day, places in groupby(range(len(frames)), lambda place: frames[place].day):
        known = kept.of_day(day)
        for place in places:
            found = known.get(keys[place])
            if found is not None and found.shape == shape:
                levels[place] = found
            else:
                missing.append(place)
    wanted = [frames[place] for place in missing]
    workers = at_once(_NEED, workers, season.settings.compute.memory_mb)
    measured = track(spread(measuring, wanted, workers), len(wanted), "measuring light")
    pairs = zip(measured, missing, strict=True)
    for day, found in groupby(pairs, lambda pair: frames[pair[1]].day):
        new = {place: told for told, place in found if told is not None}
        kept.keep(day, {keys[place]: told for place, told in new.items()})
        for place, told in new.items():
            levels[place] = told
    return measuring.cells, levels


class _Measuring:
    """Gives the levels of one frame after the other."""

    def __init__(self, season: Season, camera: str, frames: Sequence[Frame]):
        self._archive = season.archive
        ruler = Ruler(season)
        self._view = ruler.views[camera]
        self._growing = _Growing(season, camera, ruler)
        first = self._view.frame or frames[0]
        self._shape = (first.height, first.width)
        self.cells = LightCells(self._shape)
        placed = season.catalogue.placed(frame.path for frame in frames)
        self._placed = {path: matrix_of(placement) for path, placement in placed.items()}

    def key(self, frame: Frame) -> str:
        """The frame's name, and a mark of what its levels rest on."""
        matrix = self._placed.get(frame.path)
        placed = None if matrix is None else np.round(matrix, 5).tolist()
        grows = self._growing.mark(frame.day)
        rests = (_FORM, frame.sha256, placed, self.cells, grows)
        mark = hashlib.sha256(repr(rests).encode()).hexdigest()[:32]
        return f"{PurePosixPath(frame.path).stem}.{mark}"

    def __call__(self, frame: Frame) -> np.ndarray | None:
        if (frame.height, frame.width) != self._shape:
            return None
        size = self.cells.measured_shape[::-1]
        by = next((by for by in _REDUCTIONS if frame.width >= by * size[0]), 1)
        try:
            picture = decode_reduced(self._archive.read(frame.path), by, self._shape)
        except (ArchiveError, PictureError):
            return None
        turn = self._turn(frame, by)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        laid = cv2.warpPerspective(picture, turn, size, flags=flags)
        whole = np.full(picture.shape[:2], 255, np.uint8)
        seen = cv2.warpPerspective(whole, turn, size, flags=flags) == 255
        growing = self._growing.mask(frame.day, laid.shape[:2])
        still = not_green(laid) if growing is None else ~growing
        return self.cells.measure(laid, seen & still)

    def _turn(self, frame: Frame, by: int) -> np.ndarray:
        """From the picture that is measured to a frame decoded `by` times smaller."""
        matrix = self._placed.get(frame.path)
        whole = self.cells.to_reference if matrix is None else matrix @ self.cells.to_reference
        smaller = np.array(
            [[1 / by, 0, (1 / by - 1) / 2], [0, 1 / by, (1 / by - 1) / 2], [0, 0, 1]]
        )
        return smaller @ whole


class _Growing:
    """What grows on each day in the reference view: canopy that was found, or else outlines."""

    def __init__(self, season: Season, camera: str, ruler: Ruler):
        self._camera, self._shapes, self._view = camera, ruler.shapes, ruler.views[camera]
        self._regions = [r for r in season.regions.region if r.camera == camera]
        self._mark = ruler.labels_mark(camera, [r.name for r in self._regions])
        self._of_outlines = lru_cache(maxsize=8)(self._outlined)

    def mark(self, day: date) -> str:
        """The same for days on which the same grows."""
        return self._shapes.labels_digest(self._camera, day, self._mark) or repr(
            self._outlines(day)
        )

    def mask(self, day: date, shape: tuple[int, int]) -> np.ndarray | None:
        """Where anything grows, or is near to what does: bool of `shape`; None if not known."""
        growing = self._found(day)
        if growing is None:
            return None
        filled = growing.view(np.uint8) * np.uint8(255)
        small = cv2.resize(filled, shape[::-1], interpolation=cv2.INTER_AREA)
        side = 2 * max(1, round(_AROUND_CANOPY * shape[1])) + 1
        return cv2.dilate(small, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))) > 0

    def _found(self, day: date) -> np.ndarray | None:
        labels = self._shapes.labels(self._camera, day, self._mark)
        if labels is not None:
            return labels > 0
        outlines = self._outlines(day)
        return self._of_outlines(outlines) if outlines else None

    def _outlines(self, day: date) -> tuple[Points, ...]:
        """Outlines valid on a day; none where it is not known what they are drawn on."""
        if self._view.frame is None:
            return ()
        outlines = [region.outline_on(day) for region in self._regions]
        found = (self._view.points_on(o) for o in outlines if o is not None and o.points)
        return tuple(tuple(map(tuple, points)) for points in found)

    def _outlined(self, outlines: tuple[Points, ...]) -> np.ndarray:
        return np.any([region_mask(self._view.shape, each) for each in outlines], axis=0)
