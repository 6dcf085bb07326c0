"""The perceptron that knows what hands draw round leaves: trained on photographs alone.

Wheat on soil is not salad on a bench. Beside the photographs as they are, it therefore sees them
under other light, at other scales, with other ground and stronger greens, and with things lying
about that are no plants.
"""

import sys
import warnings
import zlib

import numpy as np
from training_pictures import PHOTOGRAPH_VIEWS, photograph_view

from lapsekit.photographs import Photograph
from lapsekit.vision.features import FEATURES, colour_features
from lapsekit.vision.perceptron import CLIP, Perceptron

UNITS, EPOCHS, SEEDS = 32, 14, 4
PIXELS = 2500
"""Pixels drawn from a photograph for a share of 1 in `PHOTOGRAPH_VIEWS`."""

Samples = dict[str, tuple[np.ndarray, np.ndarray]]


def samples_of(photos: list[Photograph], seed: int) -> Samples:
    """Training pixels of every photograph, by its name; they depend on this photograph alone."""
    found = {}
    for number, photo in enumerate(photos, 1):
        found[photo.name] = _sample(photo, seed)
        if number % 20 == 0 or number == len(photos):
            print(f"pixels of {number} of {len(photos)} photographs", file=sys.stderr, flush=True)
    return found


def _sample(photo: Photograph, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Features (n, F) and truth (n,) of pixels from every view of a photograph."""
    rng = np.random.default_rng([seed, zlib.crc32(photo.name.encode())])
    features, truth = [], []
    for kind, factor, share, _ in PHOTOGRAPH_VIEWS:
        picture, mask = photograph_view(photo, kind, factor, rng)
        chosen = rng.integers(0, mask.size, int(PIXELS * share))
        features.append(colour_features(picture).reshape(len(FEATURES), -1)[:, chosen].T)
        truth.append(mask.ravel()[chosen])
    return np.concatenate(features), np.concatenate(truth)


def train_perceptron(names: list[str], samples: Samples, seed: int) -> Perceptron:
    """`SEEDS` perceptrons of `UNITS` units whose mean log odds are those of one with all units."""
    from threadpoolctl import threadpool_limits

    features, truth = (np.concatenate(part) for part in zip(*map(samples.get, names), strict=True))
    means = _rounded(features.mean(axis=0, dtype=np.float64))
    deviations = _rounded(features.std(axis=0, dtype=np.float64))
    standard = np.clip((features - means) / deviations, -CLIP, CLIP).astype(np.float32)
    with threadpool_limits(1):
        fitted = [_fit(standard, truth, seed + 1000 * number) for number in range(SEEDS)]
    return Perceptron(
        means,
        deviations,
        _rounded(np.concatenate([one.coefs_[0] for one in fitted], axis=1)),
        _rounded(np.concatenate([one.intercepts_[0] for one in fitted])),
        _rounded(np.concatenate([one.coefs_[1][:, 0] for one in fitted]) / SEEDS),
        float(_rounded(np.mean([one.intercepts_[1][0] for one in fitted]))),
    )


def _fit(features, truth, seed):
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.neural_network import MLPClassifier

    network = MLPClassifier(
        (UNITS,),
        alpha=1e-4,
        batch_size=1024,
        learning_rate_init=2e-3,
        max_iter=EPOCHS,
        n_iter_no_change=EPOCHS + 1,
        random_state=seed % 2**32,
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)  # a fixed number of epochs is meant
        return network.fit(features, truth)


def _rounded(values) -> np.ndarray:
    """Six significant digits: as exact as needed, and the same text every time."""
    return np.vectorize(lambda value: float(f"{value:.6g}"))(np.asarray(values, np.float64))
