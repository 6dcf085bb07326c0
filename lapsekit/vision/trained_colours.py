"""Colours that the grower taught: strokes on a few frames, baked into a table.

The shipped model knows leaves in general; the grower knows these plants. A few strokes over plants
and over what is mistaken for them say where it errs. A table from colour to log odds is learned
that corrects it: at each colour, the number that makes what the strokes say likeliest when it is
added to what the model says under them (`lapsekit.vision.likeliest`). So strokes that tell the
model what it knows already change next to nothing, and colours that no stroke came near stay as it
sees them: one stroke over a hose cannot take a leaf away that looks otherwise. How far strokes are
to be trusted was chosen on rendered benches that the model never saw (``tests/prove_strokes.py``).
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
    MOST_ODDS,
    STEPS,
    Box,
    Tally,
    tally_of,
    together,
)
from lapsekit.vision.likeliest import likeliest
from lapsekit.vision.strokes import Stroke

LEVELS = 64
"""Steps of red, green and blue in the table; a step of 4 is what JPEG's rounding leaves anyway."""

LOOKS = 15.0
"""A stroke counts as so many looks at its colours, however long it is: its pixels are not each a
case of its own."""

SURROUNDINGS_LOOKS = 75.0
"""So many looks go to what the model is sure is no plant in the frames that strokes lie on, all of
them together."""

SURELY_NONE = -3.0
"""Log odds below which it is (twenty to one)."""

AROUND_PX = 5
"""Corrections are averaged over 5 × 5 px: soil and leaf share some dark colours, but what lies
around such a pixel is not shared."""

_LEAST_DENSITY = 1e-3
"""Looks below which a colour was not seen: they would move log odds by a thousandth at most."""


def stroke_mask(shape: tuple[int, int], stroke: Stroke) -> np.ndarray:
    """Pixels under a stroke.

    Parameters
    ----------
    shape : (height, width)
        Size of the picture that is looked at, in px.
    stroke : Stroke
        In px of that picture.

    Returns
    -------
    (H, W) bool ndarray
    """
    found = np.zeros(shape, np.uint8)
    points = np.rint(stroke.points).astype(np.int32)
    width = max(1, round(stroke.width_px))
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
    odds : (H, W) float32 ndarray
        The shipped model's log odds, which strokes correct.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.
    """

    def __init__(self, picture: np.ndarray, odds: np.ndarray):
        require_picture(picture)
        self._smooth, self._odds = _smooth(picture), odds
        self._under: dict[Stroke, Tally] = {}
        some = self._smooth[::2, ::2], odds[::2, ::2]
        none = some[1] < SURELY_NONE
        self.surroundings = tally_of(*(part[none] for part in some))

    def under(self, stroke: Stroke) -> Tally:
        """Colours under a stroke, without slips of the hand."""
        if stroke not in self._under:
            mask = stroke_mask(self._odds.shape, stroke)
            tally = tally_of(self._smooth[mask], self._odds[mask]).without_slips()
            self._under[stroke] = tally.weighing(LOOKS)
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
    """A table from colour to what corrects the model there.

    Attributes
    ----------
    table : (64, 64, 64) float32 ndarray
        Log odds to add, by red, green and blue in steps of 4: positive where the model misses
        plants, negative where it takes other things for one, 0 where no stroke came near.
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
        seen = dict.fromkeys(at.seen for at in lessons)
        parts = (each.surroundings.weighing(SURROUNDINGS_LOOKS / len(seen)) for each in seen)
        box = together([plant, other]).box
        return cls(_table(box, _corrections(box, plant, together([other, *parts]))))

    @cached_property
    def mark(self) -> str:
        """First 16 hexadecimal digits of the SHA-256 of the table and of how it is used."""
        rules = repr((MOST_ODDS, AROUND_PX)).encode()
        return hashlib.sha256(self.table.tobytes() + rules).hexdigest()[:16]

    def corrections(self, picture: np.ndarray) -> np.ndarray:
        """Log odds to add to the model's at each pixel.

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

    def corrections(self, picture: np.ndarray) -> np.ndarray:
        """As `TrainedColours.corrections`, 0 where no table counts."""
        require_picture(picture)
        found = np.zeros(picture.shape[:2], np.float32)
        for mask, table in self.zones:
            if mask is None:
                found[:] = table.corrections(picture)
                continue
            x, y, width, height = cv2.boundingRect(mask.view(np.uint8))
            if not width:
                continue
            margin = AROUND_PX
            top, left = max(0, y - margin), max(0, x - margin)
            part = np.s_[top : y + height + margin, left : x + width + margin]
            here = table.corrections(np.ascontiguousarray(picture[part]))
            found[part] = np.where(mask[part], here, found[part])
        return found


Colours = TrainedColours | ZonedColours


def corrected(odds: np.ndarray, corrections: np.ndarray) -> np.ndarray:
    """A model's log odds with what the grower taught.

    Parameters
    ----------
    odds : (H, W) float32 ndarray
        The model's.
    corrections : (H, W) float32 ndarray
        What `TrainedColours.corrections` says of the same picture.

    Returns
    -------
    (H, W) float32 ndarray
        Their sum; the more it is corrected, the less does the model count as surer than
        `MOST_ODDS`.
    """
    beyond = odds - np.clip(odds, -MOST_ODDS, MOST_ODDS)
    return odds - beyond * np.minimum(np.abs(corrections) / MOST_ODDS, 1) + corrections


def _corrections(box: Box, plant: Tally, ground: Tally) -> np.ndarray:
    """What is to be added to the log odds at the nodes of a box of the grid; float64, its shape."""
    every = together([plant, ground])
    near = every.density(box) > _LEAST_DENSITY
    nothing = np.zeros(np.count_nonzero(near))
    plants = {odds: density[near] for odds, density in plant.spread(box)}
    looks = [
        (odds, plants.get(odds, nothing), density[near]) for odds, density in every.spread(box)
    ]
    found = np.zeros(near.shape)
    found[near] = likeliest(looks) if looks else 0
    return found


def _table(box: Box, corrections: np.ndarray) -> np.ndarray:
    """Corrections at the colours of the table, between the nodes of a box of the grid."""
    table = np.zeros(LEVELS**3, np.float32)
    first = np.array([[part.start] for part in box])
    last = np.array([[part.stop - 1] for part in box])
    colours = _colours_of_table()
    near = np.flatnonzero(((colours >= first) & (colours <= last)).all(axis=0))
    at = colours[:, near] - first
    table[near] = map_coordinates(corrections, at, order=1, mode="constant", prefilter=False)
    return table.reshape(LEVELS, LEVELS, LEVELS)


@lru_cache(maxsize=1)
def _colours_of_table() -> np.ndarray:
    """Where the colours of the table lie on the grid: (3, n)."""
    steps = (np.arange(LEVELS) * (256 // LEVELS) + 256 // LEVELS // 2).astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    colours = opponent_logarithms(grid.reshape(LEVELS, -1, 3)).reshape(-1, 3)
    return np.ascontiguousarray(((colours - LEAST) / STEPS).T)
