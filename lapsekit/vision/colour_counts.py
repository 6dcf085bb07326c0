"""How often colours were seen: counted on a grid, and spread as far as each reaches.

Strokes cover few colours, and the grid has a million and a half nodes. What is counted is kept as
the nodes that were seen; what is spread is worked out in the box around them, beyond which it is 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter, label

from lapsekit.vision.colour import opponent_logarithms

STEPS = np.array([0.125, 0.03, 0.03])
"""Grid on which colours are counted: logarithmic lightness, and the two colour differences."""

REACH = np.array([0.25, 0.06, 0.06])
"""How far a stroke's colour reaches (sigma). In colour, 6 % in a ratio of channels: three times the
noise of a JPEG at middle grey. In lightness four times as far: a leaf's colour is the same in half
shade."""

SLIPS = 0.2
"""A hand slips: a group of colours that is less than a fifth of a stroke is not learned."""

GROUPED = 0.05
"""Colours hang together where their density stays above this share of the greatest."""

LEAST, GREATEST = np.array([2.0, -3.2, -3.2]), np.array([6.0, 3.2, 3.2])
"""The grid's first node, and what its last one reaches."""

SIZE = tuple(int(side) for side in np.ceil((GREATEST - LEAST) / STEPS).astype(int) + 1)
"""Nodes of the grid along each axis."""

_TRUNCATE = 4
_MARGIN = np.rint(_TRUNCATE * REACH / STEPS).astype(int)

Box = tuple[slice, slice, slice]


@dataclass(frozen=True, eq=False, repr=False)
class Tally:
    """Colours as they were counted on the grid.

    Attributes
    ----------
    nodes : (n,) int64 ndarray
        Flat positions of the nodes that were seen, each once, in their order.
    counts : (n,) int64 ndarray
        How often each was seen.
    """

    nodes: np.ndarray
    counts: np.ndarray

    @cached_property
    def spread(self) -> tuple[Box, np.ndarray]:
        """The box in which counts, spread over their reach, are not 0, and what they are there."""
        if not len(self.nodes):
            return (slice(0, 0),) * 3, np.zeros((0, 0, 0))
        places = np.unravel_index(self.nodes, SIZE)
        box = tuple(
            slice(max(0, int(at.min()) - margin), min(side, int(at.max()) + margin + 1))
            for at, margin, side in zip(places, _MARGIN, SIZE, strict=True)
        )
        counted = np.zeros([part.stop - part.start for part in box])
        counted[self._within(box)] = self.counts
        spread = gaussian_filter(counted, REACH / STEPS, mode="constant", truncate=_TRUNCATE)
        return box, spread

    def density(self, box: Box) -> np.ndarray:
        """How often colours near each node of a box were seen, against the most frequent."""
        mine, spread = self.spread
        found = np.zeros([part.stop - part.start for part in box])
        pairs = list(zip(mine, box, strict=True))
        both = [slice(max(a.start, b.start), min(a.stop, b.stop)) for a, b in pairs]
        if all(part.start < part.stop for part in both):
            found[_moved(both, box)] = spread[_moved(both, mine)]
        return found / max(spread.max(initial=0), 1e-12)

    def without_slips(self) -> "Tally":
        """A stroke's colours without groups of few, which may lie beside what was meant."""
        if self.counts.sum() < 2:
            return self
        box, spread = self.spread
        groups, number = label(spread > GROUPED * spread.max())
        mine = groups[self._within(box)]
        large = np.bincount(mine, self.counts, number + 1) >= SLIPS * self.counts.sum()
        large[0] = False
        kept = large[mine]
        return Tally(self.nodes[kept], self.counts[kept]) if kept.any() else self

    def _within(self, box: Box) -> tuple[np.ndarray, ...]:
        """The nodes' places in a box."""
        places = np.unravel_index(self.nodes, SIZE)
        return tuple(at - part.start for at, part in zip(places, box, strict=True))


def _moved(box: Sequence[slice], origin: Box) -> Box:
    """A box of the grid as it lies in another that holds it."""
    pairs = zip(box, origin, strict=True)
    return tuple(slice(part.start - at.start, part.stop - at.start) for part, at in pairs)


def tally_of(colours: np.ndarray) -> Tally:
    """Count colours.

    Parameters
    ----------
    colours : (n, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.

    Returns
    -------
    Tally
    """
    if not len(colours):
        return Tally(np.empty(0, np.int64), np.empty(0, np.int64))
    told = opponent_logarithms(np.ascontiguousarray(colours)[None])[0]
    at = np.rint((np.clip(told, LEAST, GREATEST) - LEAST) / STEPS).astype(np.int64)
    return Tally(*np.unique(np.ravel_multi_index(at.T, SIZE), return_counts=True))


def together(tallies: Sequence[Tally]) -> Tally:
    """Several tallies as one; the same ones are not added up again."""
    return _together(tuple(tallies))


@lru_cache(maxsize=64)
def _together(tallies: tuple[Tally, ...]) -> Tally:
    if len(tallies) == 1:
        return tallies[0]
    nodes = np.concatenate([np.empty(0, np.int64), *(tally.nodes for tally in tallies)])
    counts = np.concatenate([np.empty(0, np.int64), *(tally.counts for tally in tallies)])
    found, at = np.unique(nodes, return_inverse=True)
    return Tally(found, np.bincount(at, counts, len(found)).astype(np.int64))


def box_around(boxes: Sequence[Box]) -> Box:
    """The least box that holds all boxes that are not empty, and one node more on every side."""
    full = [box for box in boxes if all(part.start < part.stop for part in box)]
    if not full:
        return (slice(0, 0),) * 3
    return tuple(
        slice(max(0, min(p.start for p in parts) - 1), min(size, max(p.stop for p in parts) + 1))
        for *parts, size in zip(*full, SIZE, strict=True)
    )
