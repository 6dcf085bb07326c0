"""A second look at pixels of which the network is not sure.

A small network spends the same on every pixel, and most pixels are plain. Those in doubt lie along
leaves and between them: what fills a gap between narrow leaves may be a leaf in shade or the dark
ground. A perceptron looks at these alone, and at more (`lapsekit.vision.doubtful`): at what the
network said of each pixel near by, at how light they are, at how light, how coloured and how even
the leaves and the ground are of which the network is sure, and at which of both the colour is like
in this picture (a cascade: the costly judge sees what the cheap one leaves; Viola & Jones 2004,
Int. J. Comput. Vis. 57: 137-154). It learned from rendered plants, whose true share of every pixel
is known (``tests/train_second_look.py``).
"""

import base64
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.vision.detail import Detail
from lapsekit.vision.doubtful import LOOKS, SEEING_RULES, UNSURE, Sure, Surroundings

AMID_DOUBT = (0.12, 0.15)
"""Mean doubt around from which a second look counts for less, and for nothing: where all around is
in doubt, as in a broad leaf of a colour never seen, what is near by tells nothing more."""

LOOK_RULES = [*AMID_DOUBT, *SEEING_RULES]
"""All that shapes the result beside the perceptron's numbers, for a mark."""

_BLOCK_PIXELS = 1024


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

    None, where the picture shows too little that is surely leaf, or ground.

    Parameters
    ----------
    picture, odds, detail
        As for `SecondLook.odds`.

    Yields
    ------
    places : (n,) ndarray of int
        Flat indices of pixels.
    looks : (n, LOOKS) float32 ndarray
        See `lapsekit.vision.doubtful`.
    """
    places = np.flatnonzero(np.abs(odds) < UNSURE)
    if not places.size:
        return
    sure = Sure.by(odds)
    if not sure.is_enough:
        return
    around = Surroundings(picture, odds, detail, sure)
    for start in range(0, places.size, _BLOCK_PIXELS):
        block = places[start : start + _BLOCK_PIXELS]
        yield block, around.of(block)
