"""How often colours were seen, and what a model said of them: counted on a grid.

Strokes cover few colours, and the grid has a million and a half of them. What is counted is kept as
the nodes that were seen; what is spread is worked out in a box around them, beyond which it is 0.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter, label

from lapsekit.vision.colour import opponent_logarithms

STEPS = np.array([0.125, 0.03, 0.03])
"""Grid on which colours are counted: logarithmic lightness, and the two colour differences."""

REACH = np.array([0.25, 0.06, 0.06])
"""How far a stroke's colour reaches (sigma). In colour, 6 % in a ratio of channels: three times the
noise of a JPEG at middle grey. In lightness four times as far: a leaf's colour is the same in half
shade."""

MOST_ODDS = 5.0
"""A model's log odds count as no more than this (1 in 150 to be wrong) for what strokes teach, and
where they correct it: how far beyond it is sure says nothing about a colour of which it is wrong.
"""

ODDS = np.linspace(-MOST_ODDS, MOST_ODDS, 9, dtype=np.float32)
"""Log odds that colours are counted apart by."""

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
_COLOURS = int(np.prod(SIZE))

Box = tuple[slice, slice, slice]


@dataclass(frozen=True, eq=False, repr=False)
class Tally:
    """Colours as they were counted on the grid, each kind of odds by itself.

    Attributes
    ----------
    nodes : (n,) int64 ndarray
        Flat positions of the nodes that were seen, each once, in their order: those of the first
        of `ODDS`, then those of the second, and so on.
    counts : (n,) float64 ndarray
        How often each was seen.
    """

    nodes: np.ndarray
    counts: np.ndarray

    def without_slips(self) -> "Tally":
        """A stroke's colours without groups of few, which may lie beside what was meant."""
        if self.counts.sum() < 2:
            return self
        box = self.box
        spread = self.density(box)
        groups, number = label(spread > GROUPED * spread.max())
        mine = groups[self._within(box)]
        large = np.bincount(mine, self.counts, number + 1) >= SLIPS * self.counts.sum()
        large[0] = False
        kept = large[mine]
        return Tally(self.nodes[kept], self.counts[kept]) if kept.any() else self

    def weighing(self, total: float) -> "Tally":
        """The same colours, all together counted as often as `total`."""
        return Tally(self.nodes, self.counts * (total / max(self.counts.sum(), 1e-12)))

    @property
    def box(self) -> Box:
        """What its colours reach, spread, and one node more on every side."""
        if not len(self.nodes):
            return (slice(0, 0),) * 3
        places = np.unravel_index(self.nodes % _COLOURS, SIZE)
        return tuple(
            slice(max(0, int(at.min()) - margin - 1), min(side, int(at.max()) + margin + 2))
            for at, margin, side in zip(places, _MARGIN, SIZE, strict=True)
        )

    def density(self, box: Box) -> np.ndarray:
        """How often colours near each node of a box were seen: float64, of the box's shape.

        A colour counts whole at its own node.
        """
        found = gaussian_filter(
            self._counted(box), REACH / STEPS, mode="constant", truncate=_TRUNCATE
        )
        return found * _whole()

    def spread(self, box: Box) -> Iterator[tuple[float, np.ndarray]]:
        """The density of each kind of odds by itself.

        Parameters
        ----------
        box : Box

        Yields
        ------
        odds : float
            One of `ODDS`.
        density : ndarray of float64
        """
        kinds = self.nodes // _COLOURS
        for kind in np.unique(kinds):
            own = kinds == kind
            yield float(ODDS[kind]), Tally(self.nodes[own], self.counts[own]).density(box)

    def _counted(self, box: Box) -> np.ndarray:
        places = self._within(box)
        found = np.zeros([part.stop - part.start for part in box])
        inside = np.logical_and.reduce(
            [(at >= 0) & (at < side) for at, side in zip(places, found.shape, strict=True)]
        )
        np.add.at(found, tuple(at[inside] for at in places), self.counts[inside])
        return found

    def _within(self, box: Box) -> tuple[np.ndarray, ...]:
        """The nodes' places in a box."""
        places = np.unravel_index(self.nodes % _COLOURS, SIZE)
        return tuple(at - part.start for at, part in zip(places, box, strict=True))


@lru_cache(maxsize=1)
def _whole() -> float:
    """What a single count is spread to at its own node, as its reciprocal."""
    one = np.zeros(2 * _MARGIN + 1)
    one[tuple(_MARGIN)] = 1
    return 1 / gaussian_filter(one, REACH / STEPS, mode="constant", truncate=_TRUNCATE).max()


def tally_of(colours: np.ndarray, odds: np.ndarray) -> Tally:
    """Count colours.

    Parameters
    ----------
    colours : (n, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    odds : (n,) ndarray
        What a model says of each, as log odds.

    Returns
    -------
    Tally
    """
    if not len(colours):
        return Tally(np.empty(0, np.int64), np.empty(0))
    told = opponent_logarithms(np.ascontiguousarray(colours)[None])[0]
    at = np.rint((np.clip(told, LEAST, GREATEST) - LEAST) / STEPS).astype(np.int64)
    colour = np.ravel_multi_index(at.T, SIZE)
    kinds = np.interp(odds, ODDS, np.arange(len(ODDS)))
    lower = np.minimum(kinds.astype(np.int64), len(ODDS) - 2)
    upper = kinds - lower  # what lies between two kinds of odds counts as some of each
    pairs = [
        Tally((lower + up) * _COLOURS + colour, part) for up, part in ((0, 1 - upper), (1, upper))
    ]
    found = together(pairs)
    some = found.counts > 0
    return Tally(found.nodes[some], found.counts[some])


def together(tallies: Sequence[Tally]) -> Tally:
    """Several tallies as one."""
    nodes = np.concatenate([np.empty(0, np.int64), *(tally.nodes for tally in tallies)])
    counts = np.concatenate([np.empty(0), *(tally.counts for tally in tallies)])
    found, at = np.unique(nodes, return_inverse=True)
    return Tally(found, np.bincount(at, counts, len(found)))
