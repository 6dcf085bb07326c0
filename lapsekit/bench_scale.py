"""The bench plane in a camera's reference view: how many cm its pixels are, and how surely."""

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

import cv2
import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.errors import PictureError, SettingsError
from lapsekit.settings import Camera
from lapsekit.vision.lens import Lens
from lapsekit.vision.markers import Tag
from lapsekit.vision.plane import (
    BenchPlane,
    plane_from_length,
    plane_from_rectangle,
    plane_from_scale,
    plane_from_tags,
)
from lapsekit.vision.reduction import reduced_plane, reduced_shape

MARKED_PX = 0.5
"""Standard uncertainty of a point that a hand marks in a picture, in px."""

LENS_STEP_PX = 8

LONGER_SIDE_CM = (5.0, 800.0)
"""What the longer side of a picture of plants spans on the bench, within reason."""

OF_HEIGHT = (0.05, 4.0)
"""The same as a share of the height of the lens, where that is told: of 3 to 127 degrees."""


class BenchScale:
    """The bench in a measured view.

    Parameters
    ----------
    where : str
        The camera's table in season.toml, as a message names it.
    camera : Camera
        What that table says.
    frame : Frame or None
        The reference frame; without one only a scale that is given as a number is known.
    by : int
        How many times smaller than its frames the view is measured.
    tags : callable
        Gives the printed tags of the reference frame, in px of the whole frame.
    """

    def __init__(
        self,
        where: str,
        camera: Camera,
        frame: Frame | None,
        by: int,
        tags: Callable[[], tuple[Tag, ...]],
    ):
        self._where, self._camera, self._frame = where, camera, frame
        self._by, self._tags = by, tags

    @property
    def _shape(self) -> tuple[int, int]:
        """Height and width of the measured view."""
        return reduced_shape((self._frame.height, self._frame.width), self._by)

    @cached_property
    def lens(self) -> Lens | None:
        """The camera's lens, where season.toml tells its distortion.

        Raises
        ------
        SettingsError
            If it was told for pictures of another size.
        """
        told = self._camera.lens
        if told is None or self._frame is None:
            return None
        size = (self._frame.width, self._frame.height)
        if told.size_px != size:
            raise SettingsError(
                f"{self._where}.lens.size_px = {list(told.size_px)}, but its frames have "
                f"{size[0]} x {size[1]} px: photograph the chessboard with this camera at the size "
                "it captures, and run lapsekit lens again"
            )
        return Lens(size[::-1], told.focal_px, told.centre_px, told.radial)

    def _straight(self, points: object) -> np.ndarray:
        """Points of a whole frame as a lens without distortion would show them."""
        found = np.array(points, float)
        return found if self.lens is None else self.lens.undistorted(found)

    @cached_property
    def plane(self) -> BenchPlane | None:
        """The bench in the measured view, freed of distortion; None without a scale.

        Raises
        ------
        SettingsError
            If the scale is to come from a tag and the reference frame shows none.
        """
        found = self._plane_of_frame
        return found and reduced_plane(found, self._by)

    @cached_property
    def _plane_of_frame(self) -> BenchPlane | None:
        """The bench in the whole reference frame, freed of distortion."""
        scale = self._camera.scale
        if scale.px_per_cm is not None:
            return plane_from_scale(scale.px_per_cm)
        if scale.points is not None:
            return plane_from_length(self._straight(scale.points), scale.length_cm)
        if scale.rectangle is not None:
            return plane_from_rectangle(self._straight(scale.rectangle), scale.sides_cm)
        if scale.tag_side_cm is None or self._frame is None:
            return None
        tags = [replace(tag, corners_px=self._straight(tag.corners_px)) for tag in self._tags()]
        try:
            return plane_from_tags(tags, scale.tag_side_cm, (self._frame.height, self._frame.width))
        except PictureError as error:
            raise SettingsError(
                f"{self._where}.tag_side_cm = {scale.tag_side_cm}: no printed tag is found in the "
                f"reference frame {self._frame.path}; name another frame as its reference, or give "
                "px_per_cm"
            ) from error

    @cached_property
    def share(self) -> float:
        """Standard uncertainty of cm per px, as a share; 0 where the grower gives the number."""
        scale = self._camera.scale
        if scale.points is not None:
            return MARKED_PX * 2**0.5 / math.dist(*scale.points)
        if scale.rectangle is not None:
            first, second, third, _ = scale.rectangle
            return MARKED_PX / min(math.dist(first, second), math.dist(second, third))
        if scale.tag_side_cm is not None and self._tags():
            sides = [math.dist(*tag.corners_px[:2]) for tag in self._tags()]
            errors = [tag.corner_error_px for tag in self._tags()]
            return min(error / side for error, side in zip(errors, sides, strict=True))
        return 0.0

    @cached_property
    def weights_cm2(self) -> np.ndarray | None:
        """Bench area of every pixel of the measured view, in cm²; None without a scale."""
        if self.plane is None or self._frame is None:
            return None
        weights = self.plane.weights_cm2(self._shape)
        return weights if self.lens is None else self._through_lens()

    def _through_lens(self) -> np.ndarray:
        """Bench area of every pixel as the lens shows it, worked out at one pixel in eight a side.

        Between these it is interpolated: a lens's distortion is smooth.
        """
        places = [np.arange(0, side + LENS_STEP_PX, LENS_STEP_PX) for side in self._shape[::-1]]
        whole = self._by * np.stack(np.meshgrid(*places), -1) + (self._by - 1) / 2
        seen, lens = whole.reshape(-1, 2), self.lens
        area = self._plane_of_frame.cm2_per_px(lens.undistorted(seen)) * lens.stretch(seen)
        coarse = (area * self._by**2).reshape(whole.shape[:2]).astype(np.float32)
        at = [np.arange(side, dtype=np.float32) / LENS_STEP_PX for side in self._shape[::-1]]
        return cv2.remap(coarse, *np.meshgrid(*at), cv2.INTER_LINEAR)

    @cached_property
    def picture_cm(self) -> tuple[float, float] | None:
        """How wide and high a bench the picture spans, at the scale of its middle; None without."""
        if self.plane is None or self._frame is None:
            return None
        px_per_cm = self.plane.px_per_cm(self._shape)
        return self._shape[1] / px_per_cm, self._shape[0] / px_per_cm

    @property
    def told(self) -> str:
        """What the scale makes of the picture; empty without one."""
        if self.picture_cm is None:
            return ""
        digits = 0 if min(self.picture_cm) >= 10 else 1
        width, height = (f"{side:.{digits}f}" for side in self.picture_cm)
        return f"by its scale the picture spans {width} x {height} cm of the bench"

    @property
    def warning(self) -> str:
        """The same with what to do, where no bench that a lens sees is so large or so small."""
        longer, above = max(self.picture_cm or (0.0,)), self._camera.height_cm
        is_odd = not LONGER_SIDE_CM[0] <= longer <= LONGER_SIDE_CM[1]
        is_far = above is not None and not OF_HEIGHT[0] <= longer / above <= OF_HEIGHT[1]
        if self.picture_cm is None or not (is_odd or is_far):
            return ""
        seen = f", seen from {above:g} cm above" if is_far else ""
        return (
            f"{self.told}{seen}, which can hardly be; all areas rest on it: check the scale (a "
            f"decimal point amiss makes areas a hundred times too large or small) at {self._where}"
        )

    @cached_property
    def pixel_cm2(self) -> float:
        """Bench area of the middle one of the view's pixels, in cm²; needs a scale."""
        return float(np.median(self.weights_cm2))
