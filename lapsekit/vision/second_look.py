"""A second look at pixels of which the network is not sure.

A small network spends the same on every pixel, and most pixels are plain. Those in doubt lie along
leaves and between them: what fills a gap between narrow leaves may be a leaf in shade or the dark
ground. A perceptron looks at these alone, and at more: at what the network said of each pixel near
by, at how light they are, and at how light, how coloured and how even the leaves around are of
which the network is sure (a cascade: the costly judge sees what the cheap one leaves; Viola & Jones
2004, Int. J. Comput. Vis. 57: 137-154). It learned from rendered plants, whose true share of every
pixel is known (``tests/train_second_look.py``).
"""

import base64
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.vision.colour import LOGARITHMS
from lapsekit.vision.detail import Detail

UNSURE = 4.0
"""Log odds, either way, beyond which the network's word stands: one in fifty to be wrong."""

SURE = 0.9
"""Share from which a pixel counts as leaf, for what leaves look like."""

AROUND_PX, BESIDE_PX, NEAR_PX = 25, 9, 5
"""Sides of the windows: for what leaves look like around, for how light it is near by, and of the
pixels that are looked at one by one."""

LEAST_LEAF = 0.02
"""Share of the window around that must be surely leaf to say what leaves look like."""

AMID_DOUBT = (0.12, 0.15)
"""Mean doubt around from which a second look counts for less, and for nothing: where all around is
in doubt, as in a broad leaf of a colour never seen, what is near by tells nothing more."""

EVEN = 1e-4
"""Least variance of lightness, that of rounding to 8 bits."""

LOOKS = 10 + 2 + 2 * (NEAR_PX**2 - 1)
"""What is looked at: ten figures of the place, two of the picture's file, and the neighbours."""

LOOK_RULES = [UNSURE, SURE, AROUND_PX, BESIDE_PX, NEAR_PX, LEAST_LEAF, EVEN, *AMID_DOUBT]
"""All that shapes the result beside the perceptron's numbers, for a mark."""

_BLOCK_PIXELS = 8192


@dataclass(frozen=True, eq=False)
class SecondLook:
    """A perceptron of two hidden layers that moves the log odds of doubtful pixels.

    Parameters
    ----------
    lowest, highest : (LOOKS,) float32 ndarray
        What is looked at is held within these.
    layers : sequence of (weights, biases)
        (results, inputs) and (results,) float32 ndarrays, three of them, the last with one result.

    Raises
    ------
    SettingsError
        If shapes do not fit, or a number is not finite.
    """

    lowest: np.ndarray
    highest: np.ndarray
    layers: tuple[tuple[np.ndarray, np.ndarray], ...]

    def __post_init__(self):
        inputs = [LOOKS, *(len(biases) for _, biases in self.layers[:-1])]
        shapes = [
            (len(biases), count) for (_, biases), count in zip(self.layers, inputs, strict=True)
        ]
        held = [self.lowest, self.highest, *(part for layer in self.layers for part in layer)]
        if (
            len(self.layers) != 3
            or [weights.shape for weights, _ in self.layers] != shapes
            or self.lowest.shape != (LOOKS,)
            or self.highest.shape != (LOOKS,)
            or len(self.layers[-1][1]) != 1
            or not all(np.isfinite(part).all() for part in held)
        ):
            raise SettingsError(
                f"canopy model: its second look does not look at {LOOKS} finite figures in three "
                "layers; restore the shipped file or train it again"
            )

    def __repr__(self) -> str:
        return f"<SecondLook of {len(self.layers[0][1])} and {len(self.layers[1][1])} units>"

    @property
    def _parts(self) -> list[np.ndarray]:
        return [self.lowest, self.highest, *(part for layer in self.layers for part in layer)]

    @classmethod
    def idle(cls) -> "SecondLook":
        """One that moves nothing, for a network that has none of its own yet."""
        sizes, within = [LOOKS, 16, 16, 1], np.zeros(LOOKS, np.float32)
        shapes = [(each[::-1], each[1:]) for each in pairwise(sizes)]
        nothing = (tuple(np.zeros(shape, np.float32) for shape in pair) for pair in shapes)
        return cls(within, within, tuple(nothing))

    @classmethod
    def from_plain(cls, plain: dict) -> "SecondLook":
        """A second look out of what `as_plain` gave.

        Raises
        ------
        SettingsError
            If numbers cannot be used.
        KeyError, TypeError, ValueError, zlib.error
            If something else is given.
        """
        packed = base64.b64decode("".join(plain["numbers"]), validate=True)
        numbers = np.frombuffer(zlib.decompress(packed), "<f4")
        sizes = [LOOKS, *(int(units) for units in plain["units"]), 1]
        lengths = [LOOKS, LOOKS]
        for inputs, results in pairwise(sizes):
            lengths += [inputs * results, results]
        if sum(lengths) != numbers.size:
            raise SettingsError(
                f"canopy model: its second look has {numbers.size} numbers, expected "
                f"{sum(lengths)}; restore the shipped file or train it again"
            )
        parts = np.split(numbers, np.cumsum(lengths)[:-1])
        layers = [
            (weights.reshape(len(biases), -1), biases)
            for weights, biases in zip(parts[2::2], parts[3::2], strict=True)
        ]
        return cls(parts[0], parts[1], tuple(layers))

    def as_plain(self) -> dict[str, object]:
        """Text and numbers only, for JSON."""
        parts = [
            self.lowest,
            self.highest,
            *(part.ravel() for each in self.layers for part in each),
        ]
        packed = zlib.compress(np.concatenate(parts).astype("<f4").tobytes(), 9)
        text = base64.b64encode(packed).decode("ascii")
        units = [len(biases) for _, biases in self.layers[:-1]]
        return {"units": units, "numbers": [text[k : k + 96] for k in range(0, len(text), 96)]}

    def odds(self, picture: np.ndarray, odds: np.ndarray, detail: Detail) -> np.ndarray:
        """Log odds at each pixel, those in doubt looked at again.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded.
        odds : (H, W) float32 ndarray
            What the network says of it.
        detail : Detail
            How finely the picture's file keeps colours.

        Returns
        -------
        (H, W) float32 ndarray
        """
        found = odds.copy()
        for places, looks in looked_at(picture, odds, detail):
            found.ravel()[places] += self._moved(looks)
        return found

    def _moved(self, looks: np.ndarray) -> np.ndarray:
        """By how much the log odds of pixels (n,) move, for what is seen of them (n, LOOKS)."""
        found = np.minimum(np.maximum(looks, self.lowest), self.highest)  # clip takes far longer
        for number, (weights, biases) in enumerate(self.layers):
            if number:
                np.maximum(found, 0, out=found)
            found = found @ weights.T + biases
        counted, lost = AMID_DOUBT
        return found[:, 0] * np.clip((lost - looks[:, 1]) / (lost - counted), 0, 1)


def looked_at(
    picture: np.ndarray, odds: np.ndarray, detail: Detail
) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Pixels that are in doubt, block by block, and what a second look sees of them.

    Parameters
    ----------
    picture, odds, detail
        As for `SecondLook.odds`.

    Yields
    ------
    places : (n,) ndarray of int
        Flat indices of pixels.
    looks : (n, LOOKS) float32 ndarray
        The log odds; how doubtful and how leafy it is around; how much lighter, greener against
        red and greener against blue than the leaves around; how much lighter than what is near by;
        how uneven it is near by, and on leaves around; how much of what is around is surely leaf;
        the two numbers of the file; log odds and lightness, against what is near by, of the
        neighbours row by row.
    """
    places = np.flatnonzero(np.abs(odds) < UNSURE)
    if not places.size:
        return
    held, lightness, figures = _planes(picture, odds, places)
    told = np.float32([detail.halved, detail.coarseness])
    reach = NEAR_PX // 2
    way = cv2.BORDER_REFLECT_101
    padded = [cv2.copyMakeBorder(plane, *(reach,) * 4, way) for plane in (held, lightness)]
    width = padded[0].shape[1]
    rows, columns = np.divmod(places, odds.shape[1])
    corners = rows * width + columns
    steps = (np.arange(NEAR_PX)[:, None] * width + np.arange(NEAR_PX)).ravel()
    steps = np.delete(steps, steps.size // 2)
    for start in range(0, places.size, _BLOCK_PIXELS):
        block = np.s_[start : start + _BLOCK_PIXELS]
        near = corners[block][:, None] + steps
        parts = [figures[block], np.broadcast_to(told, (len(near), 2))]
        yield places[block], np.hstack([*parts, *(plane.ravel()[near] for plane in padded)])


def _planes(picture, odds, places) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log odds held within `UNSURE`, lightness against what is near by, and ten figures (n, 10)."""
    red, green, blue = (cv2.LUT(plane, LOGARITHMS) for plane in cv2.split(picture))
    light = cv2.add(cv2.add(red, green), blue) * np.float32(1 / 3)
    against = [cv2.subtract(green, red), cv2.subtract(green, blue)]
    share = 1 / (1 + cv2.exp(-odds))
    leaf = (share > SURE).astype(np.float32)
    squared = cv2.multiply(light, light)

    def mean(plane: np.ndarray, side: int = AROUND_PX) -> np.ndarray:
        return cv2.blur(plane, (side, side)).ravel()[places]

    def own(plane: np.ndarray) -> np.ndarray:
        return plane.ravel()[places]

    leafy = mean(leaf)
    known, divisor = leafy > LEAST_LEAF, np.maximum(leafy, LEAST_LEAF)
    of_leaves, squared_leaves, *colours = (
        mean(cv2.multiply(leaf, plane)) / divisor for plane in (light, squared, *against)
    )
    near_by = cv2.blur(light, (BESIDE_PX, BESIDE_PX))
    lighter = cv2.subtract(light, near_by)
    uneven = mean(squared, BESIDE_PX) - own(near_by) ** 2
    uneven_leaves = squared_leaves - of_leaves**2
    figures = [
        *(own(odds), mean(cv2.multiply(share, 1 - share)), mean(share)),
        np.where(known, own(light) - of_leaves, 0),
        *(np.where(known, own(a) - b, 0) for a, b in zip(against, colours, strict=True)),
        *(own(lighter), np.sqrt(np.maximum(uneven, EVEN))),
        *(np.where(known, np.sqrt(np.maximum(uneven_leaves, EVEN)), 0), leafy),
    ]
    held = np.minimum(np.maximum(odds, np.float32(-UNSURE)), np.float32(UNSURE))
    return held, lighter, np.stack(figures, axis=1).astype(np.float32)
