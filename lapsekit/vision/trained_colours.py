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
from functools import cached_property

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter, label, map_coordinates

from lapsekit.vision.colour import opponent_logarithms, require_picture
from lapsekit.vision.strokes import Stroke

LEVELS = 64
"""Steps of red, green and blue in the table; a step of 4 is what JPEG's rounding leaves anyway."""

STEPS = np.array([0.125, 0.03, 0.03])
"""Grid on which colours are counted: logarithmic lightness, and the two colour differences."""

REACH = np.array([0.25, 0.06, 0.06])
"""How far a stroke's colour reaches (sigma). In colour, 6 % in a ratio of channels: three times the
noise of a JPEG at middle grey. In lightness four times as far: a leaf's colour is the same in half
shade."""

FLOOR = 0.003
"""Density, against the greatest, at which a stroke says nothing more: 3.4 sigma from its colour,
and log odds of 5.8 at most."""

PRIOR_LIMIT = 3.0
"""Where strokes speak, the model's own log odds count as no more than this (twenty to one)."""

AROUND_PX = 7
"""What colours say is averaged over 7 × 7 px: soil and leaf share some dark colours, but what lies
around such a pixel is not shared."""

SLIPS = 0.2
"""A hand slips: a group of colours that is less than a fifth of a stroke is not learned."""

GROUPED = 0.05
"""Colours hang together where their density stays above this share of the greatest."""

HEARD = 3.0
"""Log odds from which strokes speak: about twenty to one. Less is what dark leaves and shaded soil
have in common, and flips whatever the model itself is unsure of."""

_LEAST, _GREATEST = np.array([2.0, -3.2, -3.2]), np.array([6.0, 3.2, 3.2])


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


@dataclass(frozen=True, eq=False, repr=False)
class Lesson:
    """Strokes on one frame.

    Attributes
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, in the light that pictures will be judged in.
    strokes : tuple of Stroke
    scale : float
        Size of the picture against the stored frame.
    odds : (H, W) float32 ndarray, optional
        The shipped model's log odds: what it is sure is no plant tells nothing about plants.
    """

    picture: np.ndarray
    strokes: tuple[Stroke, ...]
    scale: float = 1.0
    odds: np.ndarray | None = None


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

        Raises
        ------
        PictureError
            If a picture is not (H, W, 3) uint8.
        """
        colours = {True: [], False: []}
        surroundings = []
        for lesson in lessons:
            require_picture(lesson.picture)
            seen = opponent_logarithms(_smooth(lesson.picture))
            for stroke in lesson.strokes:
                under = stroke_mask(seen.shape[:2], stroke, lesson.scale)
                colours[stroke.is_plant].append(seen[under])
            if lesson.odds is not None:
                surroundings.append(seen[::2, ::2][lesson.odds[::2, ::2] < -PRIOR_LIMIT])
        plant, other = (_density(colours[kind]) for kind in (True, False))
        evidence = np.log((plant + FLOOR) / (other + FLOOR))
        # What is common all over the frame and surely no plant cannot tell a plant
        common = np.log((plant + FLOOR) / (_density(surroundings) + FLOOR))
        evidence = np.where(evidence > 0, np.clip(common, 0, evidence), evidence)
        steps = (np.arange(LEVELS) * (256 // LEVELS) + 256 // LEVELS // 2).astype(np.uint8)
        grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
        nodes = opponent_logarithms(grid.reshape(LEVELS, -1, 3)).reshape(-1, 3)
        at = ((nodes - _LEAST) / STEPS).T
        table = map_coordinates(evidence, at, order=1, mode="constant", prefilter=False)
        return cls(table.reshape(LEVELS, LEVELS, LEVELS).astype(np.float32))

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


def _density(strokes: list[np.ndarray]) -> np.ndarray:
    """How often colours near each node of the grid were seen, against the most frequent."""
    kept = [_without_slips(colours) for colours in strokes]
    counted = _counted(np.concatenate([np.empty((0, 3)), *kept]))
    return counted / max(counted.max(), 1e-12)


def _counted(colours: np.ndarray) -> np.ndarray:
    """Colours counted on the grid, and spread as far as each reaches."""
    size = np.ceil((_GREATEST - _LEAST) / STEPS).astype(int) + 1
    counted = np.zeros(size)
    np.add.at(counted, tuple(_nodes(colours).T), 1)
    return gaussian_filter(counted, REACH / STEPS, mode="constant", truncate=4)


def _nodes(colours: np.ndarray) -> np.ndarray:
    return np.rint((np.clip(colours, _LEAST, _GREATEST) - _LEAST) / STEPS).astype(int)


def _without_slips(colours: np.ndarray) -> np.ndarray:
    """A stroke's colours without groups of few, which may lie beside what was meant."""
    if len(colours) < 2:
        return colours
    counted = _counted(colours)
    groups, _ = label(counted > GROUPED * counted.max())
    mine = groups[tuple(_nodes(colours).T)]
    large = np.bincount(mine) >= SLIPS * len(colours)
    large[0] = False
    return colours[large[mine]] if large.any() else colours
