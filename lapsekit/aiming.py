"""Stage: pictures taken while a hand mounts the camera -> how sharp, how bright, how far off.

Nothing is filed: these pictures show hands, and a bench that is not set up.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

import cv2
import numpy as np

from lapsekit.cameras import Camera, Shot
from lapsekit.errors import CameraError, NothingNew, PictureError, SettingsError
from lapsekit.frames.finishing import require_size
from lapsekit.frames.inspection import inspect
from lapsekit.season import Season
from lapsekit.settings import Points
from lapsekit.viewing import View
from lapsekit.vision.figures import figures_of
from lapsekit.vision.focus import focus
from lapsekit.vision.homographies import similarity
from lapsekit.vision.markers import Tag, find_tags
from lapsekit.vision.movement import Movement, movement
from lapsekit.vision.pictures import decode, reduced
from lapsekit.vision.reduction import reduction_of, whole_matrix
from lapsekit.vision.registration import NotRegistered, Reference, register

_MOST_ZOOM = 1.5
"""Nobody hangs a camera up again at a distance that differs more; chance matches say so."""


@dataclass(frozen=True)
class Look:
    """What one picture says.

    Attributes
    ----------
    taken_at : datetime
        UTC instant.
    width, height : int
        In px.
    sharpness, best : float
        Focus measure of this picture, and the largest so far (see `lapsekit.vision.focus`).
    brightness : float
        Mean of the sRGB-encoded luminance, 0 to 1.
    clipped : float
        Share of pixels whose colour is lost, 0 to 1.
    movement : Movement or None
        Against the reference view, in px of the whole picture.
    is_rough : bool
        Whether that is known by tags or by what stands out only: too poorly to measure by, but
        which way to turn the camera it tells.
    unplaced : str or None
        Why there is no movement, where there is a reference view.
    cm_per_px : float or None
        On the bench, in the middle of the picture, where the scale is known.
    notes : tuple of str
        What the camera did not do as asked.
    """

    taken_at: datetime
    width: int
    height: int
    sharpness: float
    best: float
    brightness: float
    clipped: float
    movement: Movement | None = None
    is_rough: bool = False
    unplaced: str | None = None
    cm_per_px: float | None = None
    notes: tuple[str, ...] = ()


_EDGE_PX = 5
"""Width of the black line along a privacy area's edge."""


class Aim:
    """A season's camera, looked through.

    Parameters
    ----------
    season : Season
    camera : str
        Name in season.toml.
    """

    def __init__(self, season: Season, camera: str):
        self.season = season
        self.camera = camera
        self.best = 0.0
        self._view = View(season, camera)

    def _covered(self, data: bytes) -> np.ndarray:
        """The picture with its privacy areas black, before anybody sees or writes it."""
        picture, model = decode(data), self.season.settings.cameras[self.camera]
        if not model.privacy:
            return picture
        require_size(data, model.privacy_size_px, self.camera)
        covered = picture.copy()
        for outline in model.privacy:
            corners = np.round(np.array(outline)).astype(np.int32)
            cv2.fillPoly(covered, [corners], (0, 0, 0))
            cv2.polylines(covered, [corners], True, (0, 0, 0), _EDGE_PX)
        return covered

    def look(self, shot: Shot) -> tuple[Look, np.ndarray]:
        """What a picture says, and its pixels.

        Raises
        ------
        CameraError
            If it is no whole picture.
        """
        try:
            inspect(shot.data)
            picture = self._covered(shot.data)
        except PictureError as error:
            raise CameraError(f'camera "{self.camera}" gave no usable picture: {error}') from error
        figures, sharpness = figures_of(picture), focus(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))
        self.best = max(self.best, sharpness)
        height, width = picture.shape[:2]
        found = Look(
            shot.taken_at,
            width,
            height,
            sharpness,
            self.best,
            figures.luminance,
            figures.clipped,
            notes=shot.notes,
        )
        return self._placed(found, picture), picture

    def _placed(self, look: Look, picture: np.ndarray) -> Look:
        if self.reference is None:
            return look
        by = reduction_of(picture.shape[:2])
        luma = cv2.cvtColor(reduced(picture, by), cv2.COLOR_RGB2GRAY)
        tags = find_tags(luma)
        found, rough = register(luma, self.reference, tags=tags), False
        if isinstance(found, NotRegistered):
            matrix, rough = _roughly(luma, self.reference, tags), True
            if matrix is None:
                return replace(look, unplaced=found.reason)
        else:
            matrix = found.matrix
        moved = movement(whole_matrix(matrix, by), picture.shape[:2])
        return replace(look, movement=moved, is_rough=rough, cm_per_px=self._cm_per_px)

    @cached_property
    def reference_luma(self) -> np.ndarray | None:
        """The reference view in grey, as it is measured; None while there is none."""
        if self._view.frame is None:
            return None
        return cv2.cvtColor(self._view.picture(self._view.frame), cv2.COLOR_RGB2GRAY)

    @cached_property
    def reference(self) -> Reference | None:
        """What pictures are held to; None while there is no reference view."""
        luma = self.reference_luma
        return None if luma is None else Reference(luma, tags=find_tags(luma))

    @property
    def size(self) -> tuple[int, int] | None:
        """Width and height of the whole reference frame; None while there is none."""
        frame = self._view.frame
        return None if frame is None else (frame.width, frame.height)

    @cached_property
    def _cm_per_px(self) -> float | None:
        try:
            plane = self._view.scale.plane
        except SettingsError:
            return None
        if plane is None:
            return None
        height, width = self._view.shape
        area = plane.cm2_per_px(np.array([[(width - 1) / 2, (height - 1) / 2]]))
        return float(area[0] ** 0.5) / self._view.by

    @cached_property
    def outlines(self) -> dict[str, Points]:
        """Today's outlines of this camera's regions by title, in px of the whole view."""
        today, found = self.season.day_of(self.season.clock()), {}
        for region in self.season.regions.region:
            outline = region.outline_on(today) or region.outline[0]
            if region.camera == self.camera and outline.points is not None:
                found[region.title] = outline.points
        return found


def _roughly(luma: np.ndarray, reference: Reference, tags: Sequence[Tag]) -> np.ndarray | None:
    """The movement by the tags in view or else by features, where that can be true."""
    if luma.shape != reference.shape:
        return None
    pairs = [(reference.tags[tag.number], tag) for tag in tags if tag.number in reference.tags]
    if pairs:
        corners = (np.concatenate([pair[k].corners_px for pair in pairs]) for k in (0, 1))
        return similarity(*corners)
    for found in reference.searcher.movements(luma):
        if 1 / _MOST_ZOOM < np.hypot(found[0, 0], found[1, 0]) < _MOST_ZOOM:
            return found
    return None


def looks(
    aim: Aim,
    camera: Camera,
    count: int | None,
    every_s: float,
    tell: Callable[[str], None],
) -> Iterator[tuple[Look, np.ndarray]]:
    """Take picture after picture.

    A camera that gives none is told and asked again: a cable may be in somebody's hand.

    Parameters
    ----------
    aim : Aim
    camera : Camera
    count : int or None
        How many times the camera is asked; None to go on until interrupted.
    every_s : float
        Seconds from one picture to the next, at least.
    tell : callable
        Told why there was no picture.

    Raises
    ------
    CameraError
        If not one picture came of `count`.
    """
    came, asked = 0, 0
    while True:
        began = time.monotonic()
        asked += 1
        try:
            look = aim.look(camera.take(aim.season.clock()))
        except CameraError as error:
            if asked == count and not came:
                raise
            tell("no new picture yet" if isinstance(error, NothingNew) else str(error))
        else:
            came += 1
            yield look
        if asked == count:
            return
        time.sleep(max(0.0, every_s - (time.monotonic() - began)))
