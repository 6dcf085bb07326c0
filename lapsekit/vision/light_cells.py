"""Light of a frame as levels of cells, measured on what does not grow.

The reference view is divided into a grid of cells. A cell's level is the mean linear light of its
static pixels: what is neither canopy on that day, nor out of the frame, nor clipped. What is
static is told for every frame on its own, so that the levels of a day do not depend on how far
leaves reach a month later.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.errors import PictureError
from lapsekit.vision.colour import LINEAR, require_picture
from lapsekit.vision.figures import CLIPPED_FROM

COLUMNS = 48
"""Cells in a row: each about 3 cm of a bench 1.4 m wide."""

MEASURED_AT_PX = 480
"""Long side at which levels are measured."""

_LEAST_STATIC = 0.05
"""Share of a cell that must be static."""

_MOST_CLIPPED = 0.05
"""Share of its static pixels that may be clipped; more, and their mean would be too low."""

_DARKEST = 0.0015
"""Linear light (0 to 1) of 5 levels of 255: below, noise and black level are what is measured."""

_GREEN_PX = 5


@dataclass(frozen=True)
class LightCells:
    """A grid of cells over a reference view.

    Parameters
    ----------
    shape : (height, width)
        Of the reference view in px of whole frames.
    columns : int
        Cells in a row; there are as many rows as make the cells nearly square.
    """

    shape: tuple[int, int]
    columns: int = COLUMNS

    @property
    def rows(self) -> int:
        """Rows of cells."""
        return max(1, round(self.columns * self.shape[0] / self.shape[1]))

    @property
    def count(self) -> int:
        """How many cells there are; they are counted row by row."""
        return self.rows * self.columns

    @property
    def places(self) -> np.ndarray:
        """Middles of the cells, from -1 to 1 over the view's width and height: (cells, 2)."""
        x, y = ((np.arange(n) + 0.5) * 2 / n - 1 for n in (self.columns, self.rows))
        return np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)

    @property
    def measured_shape(self) -> tuple[int, int]:
        """Height and width of the picture that is measured: whole px to a cell."""
        side = max(1, round(MEASURED_AT_PX / self.columns))
        return self.rows * side, self.columns * side

    @property
    def to_reference(self) -> np.ndarray:
        """From px of the picture that is measured to px of the reference view: (3, 3)."""
        down, across = (
            whole / part for whole, part in zip(self.shape, self.measured_shape, strict=True)
        )
        return np.array([[across, 0, (across - 1) / 2], [0, down, (down - 1) / 2], [0, 0, 1]])

    def measure(self, picture: np.ndarray, static: np.ndarray | None = None) -> np.ndarray:
        """Levels of the cells in one picture.

        Parameters
        ----------
        picture : ndarray of uint8, shape (height, width, 3)
            RGB, of the whole reference view, of any size.
        static : ndarray of bool, shape (height, width), optional
            What does not grow and is seen, of any size; by default everything.

        Returns
        -------
        ndarray of float32, shape (cells, 4)
            Natural logarithm of the mean linear light (0 to 1) of red, green and blue, and the
            share of the cell that was measured; NaN where less than 5 % of a cell is static, more
            than 5 % of that is clipped, or a channel is too dark to be told.

        Raises
        ------
        PictureError
            If the picture is not RGB.
        """
        require_picture(picture)
        small = _sized(picture, self.measured_shape)
        use = np.ones(small.shape[:2], bool)
        if static is not None:
            if static.ndim != 2:
                raise PictureError(f"expected a mask of shape (H, W), got {static.shape}")
            use = _sized(static.view(np.uint8) * np.uint8(255), self.measured_shape) == 255
        unclipped = use & (small.max(axis=2) < CLIPPED_FROM)
        usable, counted = self._sums(use), self._sums(unclipped)
        light = self._sums(cv2.LUT(small, LINEAR) * unclipped[..., None])
        mean = light / np.maximum(counted, 1)[:, None]
        side = self.measured_shape[1] // self.columns
        told = (usable >= _LEAST_STATIC * side**2) & (counted >= (1 - _MOST_CLIPPED) * usable)
        told &= mean.min(axis=1) >= _DARKEST
        levels = np.column_stack([np.log(np.maximum(mean, _DARKEST)), counted / side**2])
        return np.where(told[:, None], levels, np.nan).astype(np.float32)

    def _sums(self, values: np.ndarray) -> np.ndarray:
        """Sums over each cell: (cells, ...)."""
        side = self.measured_shape[1] // self.columns
        parts = values.reshape(self.rows, side, self.columns, side, -1)
        sums = parts.sum(axis=(1, 3), dtype=np.float64)
        return sums.reshape(self.count, *values.shape[2:])


def _sized(picture: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    if picture.shape[:2] == shape:
        return picture
    return cv2.resize(picture, shape[::-1], interpolation=cv2.INTER_AREA)


def not_green(picture: np.ndarray) -> np.ndarray:
    """What is no greener than grey: all that tells static from growing where no canopy is known.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB.

    Returns
    -------
    ndarray of bool, shape (height, width)
    """
    red, green, blue = cv2.split(cv2.blur(picture, (_GREEN_PX, _GREEN_PX)))
    greener = cv2.min(cv2.compare(green, red, cv2.CMP_GT), cv2.compare(green, blue, cv2.CMP_GT))
    return greener == 0
