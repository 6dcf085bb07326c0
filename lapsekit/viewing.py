"""A camera's reference view: what its frames are registered to, and the bench plane in it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from lapsekit.bench_scale import BenchScale
from lapsekit.catalogue import Frame, Placement
from lapsekit.detail import detail_of
from lapsekit.errors import LapsekitError, SettingsError
from lapsekit.frames.choosing import daily_picture
from lapsekit.season import Season
from lapsekit.settings import Camera, Outline, Points
from lapsekit.vision.detail import Detail
from lapsekit.vision.figures import figures_of
from lapsekit.vision.light import (
    UNCHANGED,
    Light,
    corrected,
    even_out,
    small,
    smaller_by,
    together,
)
from lapsekit.vision.markers import Tag, find_tags
from lapsekit.vision.pictures import decode, decode_reduced
from lapsekit.vision.reduction import (
    reduced_matrix,
    reduced_points,
    reduced_shape,
    reduction_of,
)
from lapsekit.vision.registration import NotRegistered, Reference, Registration, register
from lapsekit.vision.screening import Seen, judge
from lapsekit.vision.tint import TINT_RULES, neutral

WITNESSES = 3
"""How many later days' first frames are asked whether the view can be held to at all."""

_held: dict[tuple[str, ...], bool] = {}  # by the content of reference and witnesses
_sights: dict[str, "_Sight"] = {}  # by the content of the reference: every morning needs it again
_MOST_SIGHTS = 8


@dataclass
class _Sight:
    """A reference frame's luminance, with what is found in it once somebody asks.

    Its colours are kept reduced: all that the reading of light needs.
    """

    luma: np.ndarray
    small: np.ndarray

    @cached_property
    def tags(self) -> tuple[Tag, ...]:
        return find_tags(self.luma)

    @cached_property
    def reference(self) -> Reference:
        return Reference(self.luma, tags=self.tags)


@dataclass
class View:
    """The reference view of one camera.

    Parameters
    ----------
    season : Season
    camera : str
        Name in season.toml.
    """

    season: Season
    camera: str

    @property
    def settings(self) -> Camera:
        """The camera's table in season.toml."""
        return self.season.settings.cameras[self.camera]

    @cached_property
    def frame(self) -> Frame | None:
        """The reference frame: the one that season.toml names, or the first day's picture.

        Raises
        ------
        SettingsError
            If the frame that season.toml names is not there.
        """
        if self.settings.reference is not None:
            return self._named(self.settings.reference)
        catalogue = self.season.catalogue
        for day in catalogue.days_of_camera(self.camera):
            at = self.season.daily_at(day)
            of_day = catalogue.frames(self.camera, day)
            while of_day:
                nearest = daily_picture(of_day, at)
                if self.is_usable(nearest):
                    return nearest
                of_day.remove(nearest)
        return None

    def _named(self, path: str) -> Frame:
        found = self.season.catalogue.frame(path)
        if found is None or found.camera != self.camera:
            frames = self.season.catalogue.latest(self.camera, 1)
            raise SettingsError(
                f"{self.season.folder / 'season.toml'}: cameras.{self.camera}.reference = "
                f'"{path}": no such frame of this camera; name one like '
                f'"{frames[0].path if frames else "frames/CAMERA/DAY/TIME.jpg"}"'
            )
        return found

    def is_usable(self, frame: Frame) -> bool:
        """Whether a frame shows anything, by fixed floors alone.

        The view must not change with later frames or other limits.
        """
        try:
            seen = Seen(frame.taken_at, figures_of(self.picture(frame)))
        except LapsekitError:
            return False
        return judge([seen])[0].reason is None

    def picture(self, frame: Frame) -> np.ndarray:
        """A frame's picture as it is measured, large ones reduced; raises as `read`."""
        return self._decoded(frame)[0]

    def read(self, frame: Frame) -> tuple[np.ndarray, Detail]:
        """A frame's picture as it is measured, large ones reduced, and how fine its colours are.

        Raises
        ------
        ArchiveError, PictureError
            If it cannot be read.
        """
        picture, data, by = self._decoded(frame)
        return picture, detail_of(data, picture, by)

    def _decoded(self, frame: Frame) -> tuple[np.ndarray, bytes, int]:
        """The picture, its file, and how many times smaller it was made."""
        data, shape = self.season.archive.read(frame.path), (frame.height, frame.width)
        by = reduction_of(shape)
        return decode_reduced(data, by, shape), data, by

    @property
    def by(self) -> int:
        """How many times smaller than its frames the view is measured."""
        return 1 if self.frame is None else reduction_of((self.frame.width, self.frame.height))

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width of the view as it is measured; it must have a frame."""
        return reduced_shape((self.frame.height, self.frame.width), self.by)

    def shape_of(self, frame: Frame) -> tuple[int, int]:
        """Height and width of a frame as it is measured, whether it fits the view or not."""
        shape = (frame.height, frame.width)
        return reduced_shape(shape, reduction_of(shape))

    def points_on(self, outline: Outline) -> Points | None:
        """An outline's points as they lie in the measured view."""
        return outline.points and reduced_points(outline.points, self.by)

    def matrix_of(self, placement: Placement | None) -> np.ndarray | None:
        """From the measured view to a measured frame; None where it is taken as it is."""
        matrix = matrix_of(placement)
        return None if matrix is None else reduced_matrix(matrix, self.by)

    @cached_property
    def mark(self) -> list[object]:
        """What of the view shapes a measurement, without looking at any picture."""
        scale = self.settings.scale
        held = self.is_held_to and [self.frame.sha256, self.settings.grey_card, TINT_RULES]
        seen = (self.frame and scale.needs_tag) and self.frame.sha256
        return [scale, held, seen, repr(self.settings.lens)]

    @property
    def is_wanted(self) -> bool:
        """Whether frames should be registered: outlines that are not the whole picture need it."""
        outlined = any(
            outline.points is not None
            for region in self.season.regions.region
            if region.camera == self.camera
            for outline in region.outline
        )
        return outlined and self.season.settings.registration.use

    @cached_property
    def is_held_to(self) -> bool:
        """Whether frames are registered: it is wanted, and a later frame shows that it works.

        One of the next days is asked, or on the first day of a season another frame of that day.

        On a table without any pattern sensor noise is all there is to hold on to; then every
        frame would be refused, and the season lost.
        """
        if not self.is_wanted or self.frame is None:
            return False
        asked = self.witnesses
        key = tuple(f.sha256 for f in (self.frame, *asked))
        if key not in _held:
            _held[key] = not asked or any(self._holds_in(f) for f in asked)
        return _held[key]

    @property
    def witnesses(self) -> list[Frame]:
        """The frames that are asked whether the view can be held to."""
        if self.frame is None:
            return []
        catalogue = self.season.catalogue
        asked = catalogue.first_of_days_after(self.camera, self.frame.day, WITNESSES)
        latest = [] if asked else catalogue.latest(self.camera, WITNESSES + 1)
        return asked or [f for f in latest if f.path != self.frame.path][-WITNESSES:]

    def _holds_in(self, frame: Frame) -> bool:
        try:
            luma = cv2.cvtColor(self.picture(frame), cv2.COLOR_RGB2GRAY)
        except LapsekitError:
            return False
        if luma.shape != self._sight.luma.shape:
            return False
        return isinstance(register(luma, self._sight.reference, tags=find_tags(luma)), Registration)

    @cached_property
    def _sight(self) -> "_Sight":
        """The reference frame as it is looked at, kept while the program runs."""
        sha256 = self.frame.sha256
        found = _sights.get(sha256)
        if found is None:
            if len(_sights) >= _MOST_SIGHTS:
                _sights.clear()
            picture = self.picture(self.frame)
            luma = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
            found = _sights[sha256] = _Sight(luma, small(picture))
        return found

    def in_its_light(self, picture: np.ndarray, matrix: np.ndarray | None) -> np.ndarray:
        """A frame as it would be in the reference frame's light, less a lamp's tint.

        Where frames are taken as they are, nothing tells what is the same thing in both: then
        light stays as it is too.

        Parameters
        ----------
        picture : ndarray of uint8, shape (height, width, 3)
        matrix : ndarray of float, shape (3, 3), or None
            From the reference view to the frame.

        Returns
        -------
        ndarray of uint8, shape (height, width, 3)
        """
        if matrix is None or not self.is_held_to:
            return picture
        card = self.settings.grey_card and reduced_points(self.settings.grey_card, self.by)
        light = even_out(picture, self._sight.small, card=card, matrix=matrix)
        return corrected(picture, together(light, self.tint))

    @cached_property
    def tint(self) -> Light:
        """What takes a lamp's tint off the reference frame; unchanged under daylight."""
        if not self.is_held_to:
            return UNCHANGED
        by = self.by * smaller_by(self.shape)
        card = self.settings.grey_card and reduced_points(self.settings.grey_card, by)
        return neutral(self._sight.small, card)

    @cached_property
    def reference(self) -> Reference | None:
        """What frames are registered to; None where they are taken as they are."""
        return self._sight.reference if self.is_held_to else None

    @property
    def notes(self) -> list[str]:
        """What a grower should know of this view."""
        found = []
        if self.is_wanted and self.frame is not None and not self.is_held_to:
            found.append(
                f'camera "{self.camera}": {self.frame.path} shows too little that stays as it is, '
                "so frames are taken as if the camera never moved; something with a pattern that "
                "lies still in view would help"
            )
        if self.scale.warning:
            found.append(f'camera "{self.camera}": {self.scale.warning}')
        if self.tint is not UNCHANGED:
            by_card = self.tint.method == "grey card"
            found.append(
                f'camera "{self.camera}": what is grey in {self.frame.path} looks as under a '
                "coloured lamp, and this tint is taken off before canopy is looked for"
                + ("" if by_card else "; a grey card in good light would tell it more surely")
            )
        return found

    @cached_property
    def scale(self) -> BenchScale:
        """The bench in the measured view: how many cm its pixels are."""
        where = f"{self.season.folder / 'season.toml'}: cameras.{self.camera}"
        return BenchScale(where, self.settings, self.frame, self.by, lambda: self.tags)

    @cached_property
    def tags(self) -> tuple[Tag, ...]:
        """Tags of the reference frame, looked for in all its pixels: a scale rests on them."""
        if self.by == 1:
            return self._sight.tags
        whole = decode(self.season.archive.read(self.frame.path))
        return find_tags(cv2.cvtColor(whole, cv2.COLOR_RGB2GRAY))

    def fits(self, frame: Frame) -> bool:
        """Whether a frame has the view's size; of others nothing but cover is known."""
        return self.frame is None or (frame.width, frame.height) == (
            self.frame.width,
            self.frame.height,
        )

    def find_in(
        self, picture: np.ndarray, stand: Callable[[], np.ndarray | None] | None = None
    ) -> Registration | NotRegistered | None:
        """Where the reference view lies in a picture; None where frames are taken as they are.

        `stand` gives the place of a frame of the same day, if the view is not near its old one.
        """
        return None if self.reference is None else _registered(picture, self.reference, stand)

    def find_without_outlines(self, picture: np.ndarray) -> Registration | NotRegistered:
        """As `find_in`, before there are outlines that ask for it; the view must have a frame."""
        return _registered(picture, self._sight.reference)

    @property
    def tags_in_measured_view(self) -> tuple[Tag, ...]:
        """Printed tags of the reference frame, in px of the measured view."""
        return self._sight.tags


def _registered(
    picture: np.ndarray,
    reference: Reference,
    stand: Callable[[], np.ndarray | None] | None = None,
) -> Registration | NotRegistered:
    luma = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    found = register(luma, reference, stand=stand)
    if isinstance(found, NotRegistered) and reference.tags:
        found = register(luma, reference, tags=find_tags(luma))
    return found


def matrix_of(found: Registration | Placement | None) -> np.ndarray | None:
    """The homography that a row or a result holds; None where a frame is taken as it is."""
    if found is None or found.matrix is None:
        return None
    return np.asarray(found.matrix, float).reshape(3, 3)


def in_reference_view(planes: np.ndarray, matrix: np.ndarray | None) -> np.ndarray:
    """A frame's planes as the reference view would show them; 0 where that is out of the frame.

    Parameters
    ----------
    planes : ndarray of uint8 or float32, shape (height, width) or (height, width, channels)
    matrix : ndarray of float, shape (3, 3), or None
        From the reference view to the frame; None where the frame is taken as it is.

    Returns
    -------
    ndarray of the same shape and kind
    """
    if matrix is None:
        return planes
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpPerspective(planes, matrix, planes.shape[1::-1], flags=flags)
