"""Colours that the grower taught: strokes on a few frames, baked into a table.

The shipped model knows leaves in general; the grower knows these plants. A few strokes over plants
and over what is mistaken for them say which colours are which: how often a colour lies under the
strokes of plants against those of other things moves the model's log odds up or down. Colours that
no stroke came near stay as the model sees them, so that one stroke over a hose cannot take a leaf
away that looks otherwise.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import cv2
import numpy as np
from scipy.ndimage import map_coordinates

from lapsekit.vision.colour import opponent_logarithms, require_picture
from lapsekit.vision.colour_counts import (
    LEAST,
    STEPS,
    Box,
    Tally,
    box_around,
    tally_of,
    together,
)
from lapsekit.vision.strokes import Stroke

LEVELS = 64
"""Steps of red, green and blue in the table; a step of 4 is what JPEG's rounding leaves anyway."""

FLOOR = 0.003
"""Density, against the greatest, at which a stroke says nothing more: 3.4 sigma from its colour,
and log odds of 5.8 at most."""

PRIOR_LIMIT = 3.0
"""Where strokes speak, the model's own log odds count as no more than this (twenty to one)."""

AROUND_PX = 7
"""What colours say is averaged over 7 × 7 px: soil and leaf share some dark colours, but what lies
around such a pixel is not shared."""

HEARD = 3.0
"""Log odds from which strokes speak: about twenty to one. Less is what dark leaves and shaded soil
have in common, and flips whatever the model itself is unsure of."""


def stroke_mask(shape: tuple[int, int], stroke: Stroke, scale: float = 1.0) -> np.ndarray:
    """Pixels under a stroke.

    Parameters
    ----------
    shape : (height, width)
        Size of the picture that is looked at, in px.
    stroke : Stroke
    scale : float
        Size of that picture against the stored frame.

    Returns
    -------
    (H, W) bool ndarray
    """
    found = np.zeros(shape, np.uint8)
    points = np.rint((np.array(stroke.points) + 0.5) * scale - 0.5).astype(np.int32)
    width = max(1, round(stroke.width_px * scale))
    if len(points) == 1:
        cv2.circle(found, points[0].tolist(), width // 2, 1, -1)
    else:
        cv2.polylines(found, [points], False, 1, width)
    return found.view(bool)


class Seen:
    """A picture that strokes lie on, as they see it; what was asked once is kept.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, in the light that pictures will be judged in.
    odds : (H, W) float32 ndarray, optional
        The shipped model's log odds: what it is sure is no plant tells nothing about plants.
    scale : float
        Size of the picture against the frame that strokes are told in.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.
    """

    def __init__(self, picture: np.ndarray, odds: np.ndarray | None = None, scale: float = 1.0):
        require_picture(picture)
        self._smooth, self._scale = _smooth(picture), scale
        self._under: dict[Stroke, Tally] = {}
        self.surroundings: Tally | None = None
        if odds is not None:
            sure = self._smooth[::2, ::2][odds[::2, ::2] < -PRIOR_LIMIT]
            self.surroundings = tally_of(sure).without_slips()

    def under(self, stroke: Stroke) -> Tally:
        """Colours under a stroke, without slips of the hand."""
        if stroke not in self._under:
            mask = stroke_mask(self._smooth.shape[:2], stroke, self._scale)
            self._under[stroke] = tally_of(self._smooth[mask]).without_slips()
        return self._under[stroke]


@dataclass(frozen=True, eq=False, repr=False)
class Lesson:
    """Strokes on one picture.

    Attributes
    ----------
    seen : Seen
    strokes : tuple of Stroke
    """

    seen: Seen
    strokes: tuple[Stroke, ...]


def _smooth(picture: np.ndarray) -> np.ndarray:
    """Means of 3 × 3 px: the width over which a 4:2:0 JPEG mixes colour anyway."""
    return cv2.blur(picture, (3, 3))


@dataclass(frozen=True, eq=False, repr=False)
class TrainedColours:
    """A table from colour to how much more, or less, it is a plant's than the model says.

    Attributes
    ----------
    table : (64, 64, 64) float32 ndarray
        Log odds to add, by red, green and blue in steps of 4: positive for the plants' colours,
        negative for those of other things, 0 where no stroke came near.
    """

    table: np.ndarray

    @classmethod
    def learn(cls, lessons: Iterable[Lesson]) -> "TrainedColours":
        """Learn from strokes.

        Parameters
        ----------
        lessons : iterable of Lesson

        Returns
        -------
        TrainedColours
            Says nothing (0 everywhere) without strokes.
        """
        lessons = tuple(lessons)
        plant, other = (
            together([at.seen.under(s) for at in lessons for s in at.strokes if s.is_plant == kind])
            for kind in (True, False)
        )
        around = together([at.seen.surroundings for at in lessons if at.seen.surroundings])
        return cls(_table(*_evidence(plant, other, around)))

    @cached_property
    def mark(self) -> str:
        """First 16 hexadecimal digits of the SHA-256 of the table."""
        return hashlib.sha256(self.table.tobytes()).hexdigest()[:16]

    def evidence(self, picture: np.ndarray) -> np.ndarray:
        """Log odds that the strokes add at each pixel.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded.

        Returns
        -------
        (H, W) float32 ndarray
            The mean over `AROUND_PX`.

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        require_picture(picture)
        steps = (_smooth(picture) >> 2).astype(np.float32)
        place = cv2.transform(steps, np.float32([[LEVELS**2, LEVELS, 1]])).astype(np.int32)
        return cv2.blur(self.table.ravel().take(place), (AROUND_PX, AROUND_PX))


@dataclass(frozen=True, eq=False, repr=False)
class ZonedColours:
    """Several tables, each for a part of a picture.

    Parameters
    ----------
    zones : tuple of (mask, TrainedColours)
        Where a table counts, (H, W) bool, or None for the whole picture; later ones replace
        earlier ones.
    """

    zones: tuple[tuple[np.ndarray | None, TrainedColours], ...]

    def evidence(self, picture: np.ndarray) -> np.ndarray:
        """As `TrainedColours.evidence`, 0 where no table counts."""
        require_picture(picture)
        found = np.zeros(picture.shape[:2], np.float32)
        for mask, table in self.zones:
            if mask is None:
                found[:] = table.evidence(picture)
                continue
            x, y, width, height = cv2.boundingRect(mask.view(np.uint8))
            if not width:
                continue
            margin = AROUND_PX
            top, left = max(0, y - margin), max(0, x - margin)
            part = np.s_[top : y + height + margin, left : x + width + margin]
            here = table.evidence(np.ascontiguousarray(picture[part]))
            found[part] = np.where(mask[part], here, found[part])
        return found


Colours = TrainedColours | ZonedColours


def with_evidence(odds: np.ndarray, evidence: np.ndarray) -> np.ndarray:
    """The model's log odds and the grower's together; arrays of one shape, float32."""
    held = np.clip(odds, -PRIOR_LIMIT, PRIOR_LIMIT)
    return np.where(np.abs(evidence) > HEARD, held, odds) + evidence


def _evidence(plant: Tally, other: Tally, around: Tally) -> tuple[Box, np.ndarray]:
    """Log odds that strokes add at the nodes of a box of the grid; beyond it they say nothing."""
    box = box_around([plant.spread[0], other.spread[0]])
    for_plant = plant.density(box) + FLOOR
    evidence = np.log(for_plant / (other.density(box) + FLOOR))
    # What is common all over the frame and surely no plant cannot tell a plant
    common = np.log(for_plant / (around.density(box) + FLOOR))
    return box, np.where(evidence > 0, np.clip(common, 0, evidence), evidence)


def _table(box: Box, evidence: np.ndarray) -> np.ndarray:
    """Evidence at the colours of the table, between the nodes of a box of the grid."""
    table = np.zeros(LEVELS**3, np.float32)
    first = np.array([[part.start] for part in box])
    last = np.array([[part.stop - 1] for part in box])
    colours = _colours_of_table()
    near = np.flatnonzero(((colours >= first) & (colours <= last)).all(axis=0))
    at = colours[:, near] - first
    table[near] = map_coordinates(evidence, at, order=1, mode="constant", prefilter=False)
    return table.reshape(LEVELS, LEVELS, LEVELS)


@lru_cache(maxsize=1)
def _colours_of_table() -> np.ndarray:
    """Where the colours of the table lie on the grid: (3, n)."""
    steps = (np.arange(LEVELS) * (256 // LEVELS) + 256 // LEVELS // 2).astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    colours = opponent_logarithms(grid.reshape(LEVELS, -1, 3)).reshape(-1, 3)
    return np.ascontiguousarray(((colours - LEAST) / STEPS).T)
