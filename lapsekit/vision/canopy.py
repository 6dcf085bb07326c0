"""Canopy or not, pixel by pixel: the shipped model, a colour index, and what tidies the mask.

The model is a perceptron of one hidden layer on the features of `lapsekit.vision.features`. Its
numbers live in a small text file that the caller reads; they were trained on real photographs
(``tests/train_canopy_model.py``), and the file carries the record of that training.
"""

import hashlib
import json
from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.vision import indices
from lapsekit.vision.features import FEATURES, feature_strips

METHODS = ("model", "exg", "exgr")
"""Ways to find canopy that ``canopy.method`` in season.toml may name."""

SPECK_PX = 16
"""Plant-coloured specks below this many pixels are noise: a 4:2:0 JPEG stores colour on a grid of
2 × 2 px, so that 16 px hold four samples of colour, too few to call a leaf."""

HOLE_PX = 16
"""Holes below this many pixels are closed: a glint or a vein inside a leaf, by the same count."""

CLIP = 4.0
"""Standardised features are held within ± this: the model never reaches beyond its training."""

GREY_A = -1.0
"""Canopy is greener than grey: a pixel whose near mean of a* is not below this is none, whatever
the model says. One unit of a* is about the least difference an eye sees; on the training
photographs the rule costs 0.1 points of overlap, and it takes away grey edges, labels and rims,
on which a model that saw nothing but fields is unsure. A red leaf is no canopy by this rule."""

_A_PLANE = FEATURES.index("green_red_mean_1.5px")
_NEVER = np.float32(-100)
_STRIP_PIXELS = 400_000
_BLOCK_PIXELS = 16_384


def clean(mask: np.ndarray, speck_px: int = SPECK_PX, hole_px: int = HOLE_PX) -> np.ndarray:
    """Remove specks and close pinholes.

    Parameters
    ----------
    mask : (H, W) bool ndarray
        True where canopy.
    speck_px, hole_px : int
        Least area in pixels of a patch of canopy (8-connected) and of a hole (4-connected)
        that stay.

    Returns
    -------
    (H, W) bool ndarray
        A new mask.
    """
    kept = _without_small(mask, speck_px, 8)
    return ~_without_small(~kept, hole_px, 4)


def _without_small(mask: np.ndarray, least_px: int, connectivity: int) -> np.ndarray:
    """The mask without its patches of fewer than `least_px` pixels."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(
        np.ascontiguousarray(mask).view(np.uint8), connectivity=connectivity
    )
    large = stats[:, cv2.CC_STAT_AREA] >= least_px
    large[0] = False
    return large[labels]


@dataclass(frozen=True, eq=False)
class CanopyModel:
    """A trained canopy classifier; see `from_json`.

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
    threshold : float
        Probability above which a pixel is canopy, 0 to 1.
    record : dict
        What the file says about the model and its training; shapes no result.

    Raises
    ------
    SettingsError
        If shapes do not fit `FEATURES`, a number is not finite, a deviation is not positive, or
        the threshold is not between 0 and 1.
    """

    means: np.ndarray
    deviations: np.ndarray
    hidden_weights: np.ndarray
    hidden_biases: np.ndarray
    output_weights: np.ndarray
    output_bias: float
    threshold: float
    record: dict = field(default_factory=dict)

    def __post_init__(self):
        count, units = len(FEATURES), np.size(self.hidden_biases)
        expected = {
            "means": (count,),
            "deviations": (count,),
            "hidden_weights": (count, units),
            "hidden_biases": (units,),
            "output_weights": (units,),
            "output_bias": (),
            "threshold": (),
        }
        for name, shape in expected.items():
            value = np.asarray(getattr(self, name), np.float64)
            if value.shape != shape or not np.isfinite(value).all():
                raise SettingsError(
                    f"canopy model: {name} has shape {value.shape}, expected {shape} of finite "
                    "numbers; train it again with this version of lapsekit"
                )
            object.__setattr__(self, name, value if shape else float(value))
        if not (np.all(self.deviations > 0) and 0 < self.threshold < 1):
            raise SettingsError(
                f"canopy model: deviations must be positive and the threshold ({self.threshold}) "
                "between 0 and 1; train it again with this version of lapsekit"
            )

    @classmethod
    def from_json(cls, text: str) -> "CanopyModel":
        """Read a model from the text of its file.

        Parameters
        ----------
        text : str
            JSON as `to_json` writes it.

        Returns
        -------
        CanopyModel

        Raises
        ------
        SettingsError
            If the text is not JSON, a field is missing, the model looks at other features than
            this version computes, or a number cannot be used.
        """
        try:
            fields = json.loads(text)
            names = tuple(fields.pop("features"))
            numbers = {key: fields.pop(key) for key in _NUMBERS}
            # A ragged list of rows is not an array: numpy raises ValueError
            numbers = {key: np.array(value, np.float64) for key, value in numbers.items()}
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise SettingsError(
                f"canopy model cannot be read ({type(error).__name__}: {error}); restore the "
                "shipped file or train it again"
            ) from error
        if names != FEATURES:
            strange = sorted(set(names) ^ set(FEATURES)) or "the same names in another order"
            raise SettingsError(
                f"canopy model looks at other features than this version of lapsekit: {strange}; "
                "train it again"
            )
        return cls(**numbers, record=fields)

    def to_json(self) -> str:
        """The model as text, one value a line, that `from_json` reads back exactly."""
        numbers = {key: np.asarray(getattr(self, key)).tolist() for key in _NUMBERS}
        fields = {**self.record, "features": list(FEATURES), **numbers}
        return json.dumps(fields, indent=1, ensure_ascii=False) + "\n"

    @cached_property
    def mark(self) -> str:
        """First 16 hexadecimal digits of the SHA-256 of every number that shapes a mask."""
        numbers = [np.asarray(getattr(self, key)).tolist() for key in _NUMBERS]
        text = json.dumps([FEATURES, numbers, CLIP, GREY_A, SPECK_PX, HOLE_PX])
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    @cached_property
    def _layers(self) -> tuple[np.ndarray, ...]:
        """Lowest and highest feature values, and both layers acting on features as they are."""
        lowest, highest = (self.means + side * CLIP * self.deviations for side in (-1, 1))
        weights = (self.hidden_weights / self.deviations[:, None]).T
        biases = self.hidden_biases - weights @ self.means
        parts = (lowest[:, None], highest[:, None], weights, biases[:, None], self.output_weights)
        return tuple(np.ascontiguousarray(part, np.float32) for part in parts)

    def _strips(self, picture: np.ndarray, rows: int | None):
        """Yield the top row and the log odds of canopy of each strip."""
        lowest, highest, weights, biases, output = self._layers
        rows = rows or max(64, _STRIP_PIXELS // max(1, picture.shape[1]))
        for top, planes in feature_strips(picture, rows):
            flat = planes.reshape(len(planes), -1)
            odds = np.full(flat.shape[1], _NEVER, np.float32)
            greener = np.flatnonzero(flat[_A_PLANE] < GREY_A)  # of the others nothing is asked
            for start in range(0, greener.size, _BLOCK_PIXELS):
                block = greener[start : start + _BLOCK_PIXELS]
                hidden = weights @ np.clip(np.take(flat, block, axis=1), lowest, highest)
                hidden += biases
                np.maximum(hidden, 0, out=hidden)
                odds[block] = output @ hidden + np.float32(self.output_bias)
            yield top, odds.reshape(planes.shape[1:])

    def probability(self, picture: np.ndarray, rows: int | None = None) -> np.ndarray:
        """Probability of canopy at each pixel.

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
            0 to 1.

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        result = np.empty(picture.shape[:2], np.float32)
        for top, odds in self._strips(picture, rows):
            # tanh cannot overflow, whatever the odds
            result[top : top + len(odds)] = 0.5 + 0.5 * np.tanh(odds / 2)
        return result

    def mask(self, picture: np.ndarray, rows: int | None = None) -> np.ndarray:
        """Where canopy is more probable than the model's threshold, cleaned.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded.
        rows : int, optional
            As for `probability`.

        Returns
        -------
        (H, W) bool ndarray

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        result = np.empty(picture.shape[:2], bool)
        least = np.log(self.threshold / (1 - self.threshold))
        for top, odds in self._strips(picture, rows):
            result[top : top + len(odds)] = odds > least
        return clean(result)


_NUMBERS = (
    "means",
    "deviations",
    "hidden_weights",
    "hidden_biases",
    "output_weights",
    "output_bias",
    "threshold",
)


def classify(picture: np.ndarray, method: str, model: CanopyModel | None = None) -> np.ndarray:
    """Find canopy by the method that the season's settings name.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    method : {"model", "exg", "exgr"}
        The trained model; excess green with Otsu's threshold; excess green minus excess red.
    model : CanopyModel, optional
        Needed for "model" only.

    Returns
    -------
    (H, W) bool ndarray
        Cleaned mask, True where canopy.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.
    SettingsError
        If the method is unknown, or "model" comes without a model.
    """
    if method == "exg":
        return clean(indices.excess_green_mask(picture))
    if method == "exgr":
        return clean(indices.excess_green_minus_red_mask(picture))
    if method != "model":
        raise SettingsError(f'canopy.method is "{method}": use one of {", ".join(METHODS)}')
    if model is None:
        raise SettingsError('canopy.method is "model", but no model was given: read its file first')
    return model.mask(picture)


def cover(picture, method, model=None):
    """How much of each pixel is canopy."""
    return classify(picture, method, model).astype(np.float32)
