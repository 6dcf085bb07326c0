"""A perceptron of one hidden layer on the colours around a pixel: does a hand draw it as leaf?"""

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.vision.features import FEATURES, feature_strips

CLIP = 4.0
"""Standardised features are held within ± this: the model never reaches beyond its training."""

GREY_A = -1.0
"""To a perceptron that saw nothing but green leaves, a pixel whose near mean of a* is not below
this is surely none. One unit of a* is about the least difference an eye sees; on the training
photographs the rule costs 0.1 points of overlap, and it takes away grey edges, labels and rims."""

NEVER = np.float32(-100)
"""Log odds of such a pixel."""

_A_PLANE = FEATURES.index("green_red_mean_1.5px")
_STRIP_PIXELS = 400_000
_BLOCK_PIXELS = 16_384


@dataclass(frozen=True, eq=False)
class Perceptron:
    """Numbers of a perceptron on `lapsekit.vision.features`.

    Parameters
    ----------
    means, deviations : (F,) float64 ndarray
        Mean and standard deviation of each feature over the training pixels.
    hidden_weights : (F, N) float64 ndarray
        Weights from standardised features to the N hidden units.
    hidden_biases, output_weights : (N,) float64 ndarray
        The units' offsets, and their weights in the result.
    output_bias : float
        Offset of the result.

    Raises
    ------
    SettingsError
        If shapes do not fit `FEATURES`, a number is not finite, or a deviation is not positive.
    """

    means: np.ndarray
    deviations: np.ndarray
    hidden_weights: np.ndarray
    hidden_biases: np.ndarray
    output_weights: np.ndarray
    output_bias: float

    def __post_init__(self):
        count, units = len(FEATURES), np.size(self.hidden_biases)
        shapes = ((count,), (count,), (count, units), (units,), (units,), ())
        for one, shape in zip(fields(self), shapes, strict=True):
            value = np.asarray(getattr(self, one.name), np.float64)
            if value.shape != shape or not np.isfinite(value).all():
                raise SettingsError(
                    f"canopy model: {one.name} has shape {value.shape}, expected {shape} of finite "
                    "numbers; train it again with this version of lapsekit"
                )
            object.__setattr__(self, one.name, value if shape else float(value))
        if not np.all(self.deviations > 0):
            raise SettingsError(
                "canopy model: deviations must be positive; train it again with this version of "
                "lapsekit"
            )

    def __repr__(self) -> str:
        return f"<Perceptron of {self.hidden_biases.size} units>"

    @classmethod
    def from_plain(cls, plain: dict) -> "Perceptron":
        """A perceptron out of what `as_plain` gave.

        Raises
        ------
        SettingsError
            If it looks at other features than this version computes, or numbers cannot be used.
        KeyError, TypeError, ValueError
            If something else is given.
        """
        if tuple(plain["features"]) != FEATURES:
            strange = sorted(set(plain["features"]) ^ set(FEATURES)) or "them in another order"
            raise SettingsError(
                f"canopy model looks at other features than this version of lapsekit: {strange}; "
                "train it again"
            )
        return cls(**{one.name: np.array(plain[one.name], np.float64) for one in fields(cls)})

    def as_plain(self) -> dict[str, object]:
        """Lists and numbers only, for JSON."""
        numbers = {one.name: np.asarray(getattr(self, one.name)).tolist() for one in fields(self)}
        return {"features": list(FEATURES), **numbers}

    @cached_property
    def layers(self) -> tuple[np.ndarray, ...]:
        """Lowest and highest feature values, and both layers acting on features as they are."""
        lowest, highest = (self.means + side * CLIP * self.deviations for side in (-1, 1))
        weights = (self.hidden_weights / self.deviations[:, None]).T
        biases = self.hidden_biases - weights @ self.means
        parts = (lowest[:, None], highest[:, None], weights, biases[:, None], self.output_weights)
        return tuple(np.ascontiguousarray(part, np.float32) for part in parts)

    def odds(self, picture: np.ndarray, rows: int | None = None) -> np.ndarray:
        """Log odds that a hand draws a pixel as leaf.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded.
        rows : int, optional
            Height of the strips worked on at a time; by default about 0.4 megapixels. Changes
            memory, not the result.

        Returns
        -------
        (H, W) float32 ndarray
            `NEVER` where a pixel is not greener than grey.

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        lowest, highest, weights, biases, output = self.layers
        result = np.full(picture.shape[:2], NEVER, np.float32)
        rows = rows or max(64, _STRIP_PIXELS // max(1, picture.shape[1]))
        for top, planes in feature_strips(picture, rows):
            flat = planes.reshape(len(planes), -1)
            odds = result[top : top + planes.shape[1]].reshape(-1)  # a view: whole rows
            greener = np.flatnonzero(flat[_A_PLANE] < GREY_A)  # of the others nothing is asked
            for start in range(0, greener.size, _BLOCK_PIXELS):
                block = greener[start : start + _BLOCK_PIXELS]
                hidden = weights @ np.clip(np.take(flat, block, axis=1), lowest, highest)
                hidden += biases
                np.maximum(hidden, 0, out=hidden)
                odds[block] = output @ hidden + np.float32(self.output_bias)
        return result
