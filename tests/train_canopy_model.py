"""Train the canopy model that lapsekit ships, and score it on plots it has not seen.

    python tests/train_canopy_model.py --data DIR --out lapsekit/vision/canopy_model.json

DIR is the folder that contains field-wheat/ (or set LAPSEKIT_PHOTOS): 142 photographs of wheat
plots with a mask each, doi:10.3929/ethz-b-000512332, CC BY-SA 4.0. Needs the extra [train].
The same photographs, seed, --date and machine give the same bytes.

Wheat on soil is not salad on a bench. Beside the photographs as they are, the model therefore
sees them under other light, at other scales, with other ground and stronger greens, and with
things lying about that are no plants. Nothing is learned or chosen on the photographs that a
score is taken on: folds keep all photographs of a plot together, and the threshold comes from the
photographs of the training folds.
"""

import argparse
import os
import sys
import warnings
import zlib
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from lapsekit.vision.canopy import CLIP, CanopyModel
from lapsekit.vision.features import FEATURES, colour_features
from lapsekit.vision.indices import excess_green_mask

SEED = 20310417
UNITS = 32
EPOCHS = 14
FOLDS = 5
PIXELS = 2500
"""Pixels drawn from a photograph for a share of 1 in `VIEWS`."""

VIEWS = (
    # (how the photograph is changed, enlargement, share of PIXELS)
    ("as it is", 1, 1.0),
    ("light", 1, 0.8),
    ("light", 0.5, 0.3),
    ("light", 2, 0.3),
    ("objects", 1, 0.6),
    ("objects", 2, 0.4),
    ("ground", 1, 0.3),
    ("ground", 2, 0.3),
    ("ground", 4, 0.3),
)
THRESHOLDS = np.arange(0.30, 0.561, 0.02)
BIAS_PRICE = 0.25
"""What a relative error of the total area costs against intersection over union."""

COVER_CLASSES = (0.0, 0.05, 0.15, 0.30, 1.0)
DOI = "doi:10.3929/ethz-b-000512332"
CITATION = (
    "Zenkl R, Timofte R, Kirchgessner N, Roth L, Hund A, Van Gool L, Walter A, Aasen H (2022) "
    "Outdoor Plant Segmentation With Deep Learning for High-Throughput Field Phenotyping on a "
    "Diverse Wheat Dataset. Front. Plant Sci. 12:774068. doi:10.3389/fpls.2021.774068"
)


@dataclass(frozen=True)
class Photograph:
    name: str
    picture: np.ndarray
    mask: np.ndarray

    @property
    def plot(self) -> str:
        return self.name.split("_")[0]

    @property
    def season(self) -> str:
        """The trial's year: the first digits of the plot's name."""
        return self.plot[:7]


def photograph_folder(given: str | None) -> Path:
    """The folder that contains field-wheat/, or an exit that says how to name it."""
    folder = Path(given or os.environ.get("LAPSEKIT_PHOTOS") or "")
    if not (given or os.environ.get("LAPSEKIT_PHOTOS")) or not (folder / "field-wheat").is_dir():
        sys.exit(f"no field-wheat/ in '{folder}': give --data DIR or set LAPSEKIT_PHOTOS ({DOI})")
    return folder


def read_photographs(data: Path) -> list[Photograph]:
    found = []
    for path in sorted((data / "field-wheat" / "img").glob("*.png")):
        picture = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
        mask = cv2.imread(str(data / "field-wheat" / "mask" / path.name), cv2.IMREAD_GRAYSCALE)
        found.append(Photograph(path.stem, picture, mask > 127))
    return found


# --- other light, other ground, other things -----------------------------------------------------


def other_light(picture: np.ndarray, rng) -> np.ndarray:
    """Another white balance, exposure, tone curve and saturation, within what cameras do."""
    linear = (np.arange(256) / 255) ** 2.2
    gains = np.exp(rng.normal(0, 0.08, 3)) * 2 ** rng.uniform(-1.0, 0.6)
    curve = np.exp(rng.uniform(-0.15, 0.15)) / 2.2
    tables = (np.clip(linear * gains[:, None], 0, 1) ** curve).astype(np.float32)
    changed = np.stack([tables[c][picture[..., c]] for c in range(3)], axis=-1)
    grey = changed.mean(axis=2, keepdims=True)
    changed = grey + (changed - grey) * np.float32(np.exp(rng.uniform(-0.2, 0.4)))
    return np.rint(np.clip(changed, 0, 1) * 255).astype(np.uint8)


def not_green(rng, neutral: float) -> np.ndarray:
    """A Lab colour that no green leaf has; with probability `neutral` a grey."""
    hue = np.deg2rad(rng.uniform(-150, 80))
    chroma = rng.uniform(0, 6) if rng.uniform() < neutral else 45 * rng.uniform() ** 1.5
    return np.array([rng.uniform(10, 97), chroma * np.cos(hue), chroma * np.sin(hue)], np.float32)


def _lab(picture: np.ndarray) -> np.ndarray:
    return cv2.cvtColor(picture.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)


def _rgb(lab: np.ndarray) -> np.ndarray:
    lab[..., 0] = np.clip(lab[..., 0], 0, 100)
    rgb = cv2.cvtColor(lab.astype(np.float32), cv2.COLOR_LAB2RGB)
    return np.rint(np.clip(rgb, 0, 1) * 255).astype(np.uint8)


def other_ground(picture: np.ndarray, mask: np.ndarray, rng) -> np.ndarray:
    """The same leaves, often greener, on ground of another colour and roughness."""
    lab = _lab(picture)
    leaf = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.7)[..., None]
    ground = lab - (lab[~mask].mean(axis=0) if not mask.all() else 0)
    ground[..., 0] *= rng.uniform(0.2, 1.2)
    ground += not_green(rng, neutral=0.25)
    leaves = lab * np.array([rng.uniform(0.7, 1.3), *[rng.uniform(0.9, 2.0)] * 2], np.float32)
    return _rgb(leaves * leaf + ground * (1 - leaf))


def with_objects(picture: np.ndarray, mask: np.ndarray, rng) -> tuple[np.ndarray, np.ndarray]:
    """Smooth things that are no plants on the photograph: labels, rims, tools, perlite grains."""
    lab, truth = _lab(picture), mask.copy()
    height, width = mask.shape
    for _ in range(rng.integers(4, 25)):
        shape = np.zeros(mask.shape, np.uint8)
        centre = (int(rng.integers(0, width)), int(rng.integers(0, height)))
        sides = np.exp(rng.uniform(np.log(3), np.log(120))) * rng.uniform([0.3, 0.6], 1)
        angle = float(rng.uniform(0, 180))
        line = -1 if sides.max() < 20 or rng.uniform() < 0.6 else int(rng.integers(3, 20))
        if rng.uniform() < 0.5:
            corners = cv2.boxPoints((centre, tuple(map(float, sides)), angle)).astype(np.int32)
            cv2.drawContours(shape, [corners], 0, 1, line)
        else:
            axes = tuple(int(side) for side in np.maximum(sides, 2) / 2)
            cv2.ellipse(shape, centre, axes, angle, 0, 360, 1, line)
        slope = np.linspace(-1, 1, width, dtype=np.float32) * rng.uniform(-15, 15)
        thing = np.broadcast_to(not_green(rng, neutral=0.6), lab.shape).copy()
        thing[..., 0] += slope + rng.normal(0, rng.uniform(0.3, 2.5), mask.shape)
        edge = cv2.GaussianBlur(shape.astype(np.float32), (0, 0), 0.8)[..., None]
        lab = thing * edge + lab * (1 - edge)
        truth &= shape == 0
    return _rgb(lab), truth


def enlarged(picture: np.ndarray, mask: np.ndarray, factor: float, rng):
    """The photograph at another scale; a quarter of it where it would grow too large."""
    if factor > 2:
        top, left = rng.integers(0, np.array(mask.shape) // 2 + 1)
        part = np.s_[top : top + mask.shape[0] // 2, left : left + mask.shape[1] // 2]
        picture, mask = picture[part], mask[part]
    if factor == 1:
        return picture, mask
    size = (int(mask.shape[1] * factor), int(mask.shape[0] * factor))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    cover = cv2.resize(mask.astype(np.float32), size, interpolation=way)
    return cv2.resize(picture, size, interpolation=way), cover > 0.5


def view(photo: Photograph, kind: str, factor: float, rng) -> tuple[np.ndarray, np.ndarray]:
    """A photograph and its truth, changed in one of the ways that `VIEWS` names."""
    picture, mask = photo.picture, photo.mask
    if kind == "ground":
        picture = other_ground(picture, mask, rng)
    if kind in ("ground", "objects"):
        picture, mask = with_objects(picture, mask, rng)
    if kind != "as it is":
        picture = other_light(picture, rng)
    return enlarged(picture, mask, factor, rng)


def sample(photo: Photograph, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Features (n, F) and truth (n,) of pixels from every view; depends on this photo alone."""
    rng = np.random.default_rng([seed, zlib.crc32(photo.name.encode())])
    features, truth = [], []
    for kind, factor, share in VIEWS:
        picture, mask = view(photo, kind, factor, rng)
        chosen = rng.integers(0, mask.size, int(PIXELS * share))
        features.append(colour_features(picture).reshape(len(FEATURES), -1)[:, chosen].T)
        truth.append(mask.ravel()[chosen])
    return np.concatenate(features), np.concatenate(truth)


# --- training ------------------------------------------------------------------------------------


def _rounded(values) -> np.ndarray:
    """Six significant digits: as exact as needed, and the same text every time."""
    return np.vectorize(lambda value: float(f"{value:.6g}"))(np.asarray(values, np.float64))


def train(photos: list[Photograph], samples: dict, seed: int = SEED) -> CanopyModel:
    """Fit a model to these photographs only, threshold included."""
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.neural_network import MLPClassifier
    from threadpoolctl import threadpool_limits

    features = np.concatenate([samples[photo.name][0] for photo in photos])
    truth = np.concatenate([samples[photo.name][1] for photo in photos])
    means = _rounded(features.mean(axis=0, dtype=np.float64))
    deviations = _rounded(features.std(axis=0, dtype=np.float64))
    standard = np.clip((features - means) / deviations, -CLIP, CLIP).astype(np.float32)
    network = MLPClassifier(
        (UNITS,),
        alpha=1e-4,
        batch_size=1024,
        learning_rate_init=2e-3,
        max_iter=EPOCHS,
        n_iter_no_change=EPOCHS + 1,
        random_state=seed % 2**32,
    )
    with warnings.catch_warnings(), threadpool_limits(1):
        warnings.simplefilter("ignore", ConvergenceWarning)  # a fixed number of epochs is meant
        network.fit(standard, truth)
    numbers = {
        "means": means,
        "deviations": deviations,
        "hidden_weights": _rounded(network.coefs_[0]),
        "hidden_biases": _rounded(network.intercepts_[0]),
        "output_weights": _rounded(network.coefs_[1][:, 0]),
        "output_bias": float(_rounded(network.intercepts_[1][0])),
    }
    threshold = best_threshold(CanopyModel(**numbers, threshold=0.5), photos)
    return CanopyModel(**numbers, threshold=threshold)


def best_threshold(model: CanopyModel, photos: list[Photograph]) -> float:
    """The threshold with the best pooled overlap, less a price for biased area."""
    both, either = np.zeros((2, len(THRESHOLDS)))
    found, true = np.zeros(len(THRESHOLDS)), sum(photo.mask.sum() for photo in photos)
    for photo in photos:
        probability = model.probability(photo.picture)
        for index, threshold in enumerate(THRESHOLDS):
            mask = probability > threshold
            both[index] += (mask & photo.mask).sum()
            either[index] += (mask | photo.mask).sum()
            found[index] += mask.sum()
    value = both / either - BIAS_PRICE * np.abs(found / true - 1)
    return round(float(THRESHOLDS[np.argmax(value)]), 2)


def model_without(data_dir: str | Path, plots: list[str], seed: int = SEED) -> CanopyModel:
    """A model of the shipped kind that has never seen the photographs of these plots.

    `data_dir` is the folder that contains field-wheat/; about 90 seconds on one core.
    """
    photos = [photo for photo in read_photographs(Path(data_dir)) if photo.plot not in plots]
    return train(photos, {photo.name: sample(photo, seed) for photo in photos}, seed)


# --- scores --------------------------------------------------------------------------------------


def counts(mask: np.ndarray, truth: np.ndarray) -> list[int]:
    """Pixels in both, in either, in the mask, in the truth, in the picture."""
    parts = (mask & truth, mask | truth, mask, truth)
    return [*(int(part.sum()) for part in parts), truth.size]


def scores(rows: list[list[int]]) -> dict:
    """Pooled and median agreement of photographs, each a row of `counts`."""
    both, either, found, true, size = np.array(rows, np.float64).T
    each = np.where(either > 0, both / np.maximum(either, 1), 1.0)
    return {
        "photographs": len(rows),
        "pooled_iou": round(both.sum() / either.sum(), 4),
        "median_iou": round(float(np.median(each)), 4),
        "median_dice": round(float(np.median(2 * each / (1 + each))), 4),
        "area_bias": round(found.sum() / true.sum() - 1, 4),
        "mean_cover_error": round(float(np.mean((found - true) / size)), 4),
        "mean_absolute_cover_error": round(float(np.mean(np.abs(found - true) / size)), 4),
    }


def folds(photos: list[Photograph], by: str = "plot") -> list[list[int]]:
    """Indices of the photographs of each test fold; a plot (or season) is in one fold only."""
    from sklearn.model_selection import GroupKFold

    groups = [getattr(photo, by) for photo in photos]
    splitter = GroupKFold(min(FOLDS, len(set(groups))))
    return [list(map(int, test)) for _, test in splitter.split(photos, groups=groups)]


def cross_validate(photos: list[Photograph], samples: dict, by: str = "plot") -> dict:
    """Scores of out-of-fold masks through `CanopyModel.mask`, beside excess green with Otsu.

    The result holds, for each method, the scores overall and by class of cover.
    """
    rows = {"model": {}, "excess green + Otsu": {}}
    for number, test in enumerate(folds(photos, by), 1):
        model = train([photo for i, photo in enumerate(photos) if i not in test], samples)
        for i in test:
            truth = photos[i].mask
            rows["model"][i] = counts(model.mask(photos[i].picture), truth)
            rows["excess green + Otsu"][i] = counts(excess_green_mask(photos[i].picture), truth)
        print(f"fold {number}: threshold {model.threshold}", file=sys.stderr, flush=True)
    result = {}
    for method, found in rows.items():
        result[method] = {"all": scores(list(found.values()))}
        for low, high in pairwise(COVER_CLASSES):
            part = [row for row in found.values() if low <= row[3] / row[4] < high]
            result[method][f"cover {low:.0%} to {high:.0%}"] = scores(part)
    return result


def all_samples(photos: list[Photograph]) -> dict:
    """Training pixels of every photograph, by its name."""
    found = {}
    for number, photo in enumerate(photos, 1):
        found[photo.name] = sample(photo, SEED)
        if number % 20 == 0 or number == len(photos):
            print(f"pixels of {number} of {len(photos)} photos", file=sys.stderr, flush=True)
    return found


def record(photos: list[Photograph], validation: dict | None, date: str) -> dict:
    """What the model's file says about itself before its numbers."""
    import sklearn

    return {
        "what": "Canopy or not, for each pixel of a colour picture seen from above: a perceptron "
        "of one hidden layer (rectified linear units, logistic output) on features of "
        "lapsekit.vision.features, standardised and held within +-4",
        "licence": "CC BY-SA 4.0 for the numbers in this file, which were derived from "
        "photographs under that licence; the code of lapsekit is MIT",
        "training": {
            "data_set": "Eschikon Wheat Segmentation (EWS), training split",
            "doi": DOI,
            "data_licence": "CC BY-SA 4.0",
            "citation": CITATION,
            "photographs": len(photos),
            "plots": len({photo.plot for photo in photos}),
            "date": date,
            "seed": SEED,
            "views": [list(each) for each in VIEWS],
            "libraries": {
                "numpy": np.__version__,
                "opencv": cv2.__version__,
                "scikit-learn": sklearn.__version__,
            },
            "cross_validated_by_plot": validation and validation["model"]["all"],
        },
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--data", help="folder that contains field-wheat/")
    parser.add_argument("--out", required=True, type=Path, help="file to write the model to")
    parser.add_argument("--leave-out", action="append", default=[], metavar="PLOT")
    today = datetime.now(UTC).date().isoformat()
    parser.add_argument("--date", default=today, help="date for the record (default: today)")
    given = parser.parse_args()
    photos = read_photographs(photograph_folder(given.data))
    photos = [photo for photo in photos if photo.plot not in given.leave_out]
    samples = all_samples(photos)
    validation = None if given.leave_out else cross_validate(photos, samples)
    model = train(photos, samples)
    model = replace(model, record=record(photos, validation, given.date))
    given.out.write_text(model.to_json(), encoding="utf-8")
    print(f"{given.out}: mark {model.mark}, threshold {model.threshold}")


if __name__ == "__main__":
    main()
