"""What a picture's own leaves and its own ground look like, learned from the picture itself.

A model that was trained on other gardens is sure of most pixels of this one. These tell the light,
the soil and the leaves of this picture better than any training could, and so tell the pixels of
which it is not sure: Fisher's linear discriminant (1936, Annals of Eugenics 7: 179–188), a step of
self-training (Scudder 1965, IEEE Transactions on Information Theory 11: 363–371).
"""

from collections.abc import Callable

import numpy as np

from lapsekit.vision.features import FEATURES, feature_strips

LEAF, GROUND = 1.0, -1.5
"""Log odds above which and below which a pixel is learned from."""

WEIGHT = 0.2
"""Share of the picture's own word in the result."""

MOST = 6.0
"""Log odds, either way, beyond which nothing is told apart any more: 400 to 1."""

LEAST_PX, SAMPLE_PX = 200, 4000
"""Pixels of each kind that must be sure, and about how many of them are learned from."""

RIDGE = 0.05
"""Added to the variance of each standardised feature, so that two that say the same do no harm."""

CLIP = 4.0
"""Standardised features are held within ± this."""

NEAR = 1 + FEATURES.index("excess_green_mean_1.5px")
"""Of `FEATURES`, as many as look no further than a leaf's edge. `WEIGHT`, `RIDGE`, `LEAF` and
`GROUND` were chosen on photographs of plots that the model had not seen; half and twice as much
cost less than 0.005 of overlap."""

OWN_RULES = [LEAF, GROUND, WEIGHT, MOST, LEAST_PX, SAMPLE_PX, RIDGE, CLIP, NEAR]
"""All that shapes the result, for a mark."""

STRIP_PIXELS, LEAST_STRIP_ROWS = 400_000, 64
"""A picture is worked through in strips of about so many pixels, and at least so many rows; which
pixels are learned from depends on where strips begin."""


def with_own_colours(odds: np.ndarray, beside: np.ndarray, picture: np.ndarray) -> np.ndarray:
    """Mix a model's word with that of the picture's own colours.

    Parameters
    ----------
    odds : (H, W) float32 ndarray
        Log odds of leaf, by a model trained elsewhere.
    beside : (H, W) float32 ndarray
        Another model's, taken as one more feature.
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.

    Returns
    -------
    (H, W) float32 ndarray
        Log odds within ± `MOST`; those given, held within, where fewer than `LEAST_PX` pixels are
        surely leaf, or surely ground.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.
    """
    held = np.clip(odds, -MOST, MOST)
    leaf, ground = held > LEAF, held < GROUND
    counts = np.array([np.count_nonzero(leaf), np.count_nonzero(ground)])
    if counts.min() < LEAST_PX:
        return held
    rows = max(LEAST_STRIP_ROWS, STRIP_PIXELS // picture.shape[1])
    steps = np.maximum(1, counts // SAMPLE_PX)
    samples = [[], []]
    for at, planes in _strips(picture, beside, rows):
        for kind, sure, step in zip(samples, (leaf[at], ground[at]), steps, strict=True):
            kind.append(planes[:, np.flatnonzero(sure)[::step]].T)
    judge = _discriminant(*map(np.concatenate, samples), float(np.log(counts[0] / counts[1])))
    for at, planes in _strips(picture, beside, rows):
        own = np.clip(judge(planes), -MOST, MOST).reshape(held[at].shape)
        held[at] += WEIGHT * (own - held[at])
    return held


def _strips(picture: np.ndarray, beside: np.ndarray, rows: int):
    """Rows (a slice) and their features, (`NEAR` + 1, pixels)."""
    for top, planes in feature_strips(picture, rows):
        at = np.s_[top : top + planes.shape[1]]
        near = planes[:NEAR].reshape(NEAR, -1)
        yield at, np.vstack([near, np.clip(beside[at], -MOST, MOST).reshape(1, -1)])


def _discriminant(leaf: np.ndarray, ground: np.ndarray, prior: float) -> Callable:
    """Log odds of features (F, n), by samples (n, F) of both kinds."""
    both = np.concatenate([leaf, ground])
    middle = both.mean(axis=0, dtype=np.float64)
    spread = both.std(axis=0, dtype=np.float64) + 1e-3
    leaf, ground = (np.clip((kind - middle) / spread, -CLIP, CLIP) for kind in (leaf, ground))
    within = (np.cov(leaf.T) + np.cov(ground.T)) / 2 + RIDGE * np.eye(len(middle))
    means = leaf.mean(axis=0), ground.mean(axis=0)
    weights = np.linalg.solve(within, means[0] - means[1])
    offset = np.float32(prior - weights @ (means[0] + means[1]) / 2)
    weights, middle, spread = (np.float32(each) for each in (weights, middle, spread))

    def judge(features: np.ndarray) -> np.ndarray:
        standard = np.clip((features - middle[:, None]) / spread[:, None], -CLIP, CLIP)
        return weights @ standard + offset

    return judge
