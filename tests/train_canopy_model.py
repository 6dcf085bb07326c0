"""Train the canopy network that lapsekit ships, and score it on plots it has not seen.

    python tests/train_canopy_model.py --data DIR --benches DIR --out FILE

--data is the folder that contains field-wheat/ (or set LAPSEKIT_PHOTOS), --benches what
``tests/render_training_frames.py`` made. See ``tests/training_pictures.py`` for both. Needs the
extra [train]. About an hour on one core, and twice that with the cross-validation.

The network learns first from rendered benches and drawings alone, then from these and photographs
together. Folds share the first part, which sees no photograph, and keep all photographs of a plot
together; the threshold of a fold's masks comes from the photographs that it was trained on.
"""

import argparse
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import torch
from canopy_network import WIDTHS, CanopyNetwork, as_onnx, logarithms, places
from torch.nn import functional
from training_pictures import (
    BENCH_SCALES,
    BENCH_VIEWS,
    DOI,
    PHOTOGRAPH_VIEWS,
    Bench,
    Drawing,
    Photograph,
    photograph_folder,
    read_benches,
    read_photographs,
    views,
)

from lapsekit.vision.canopy import CanopyModel, clean
from lapsekit.vision.indices import INDICES
from lapsekit.vision.network import Network

SEED = 20310417
DRAWINGS = 160
FOLDS = 5
CROP_PX, BATCH = 192, 8
ENLARGED = (1, 1, 1, 0.7, 0.5, 1.6, 2.4)
"""How crops are enlarged once more: leaves of a full-size photograph are as wide as a hand here."""

ALONE = (10_500, 3e-3)
TOGETHER = (2_500, 1.5e-3)
"""Steps and greatest learning rate without photographs, and with them."""

SHARES = {Bench: 0.45, Drawing: 0.10, Photograph: 0.45}
THRESHOLDS = np.arange(0.24, 0.61, 0.02)
BIAS_PRICE = 0.25
"""What a relative error of the total area costs against intersection over union."""

COVER_CLASSES = (0.0, 0.05, 0.15, 0.30, 1.0)
CITATION = (
    "Zenkl R, Timofte R, Kirchgessner N, Roth L, Hund A, Van Gool L, Walter A, Aasen H (2022) "
    "Outdoor Plant Segmentation With Deep Learning for High-Throughput Field Phenotyping on a "
    "Diverse Wheat Dataset. Front. Plant Sci. 12:774068. doi:10.3389/fpls.2021.774068"
)


@dataclass(frozen=True)
class Shown:
    """One view of a picture: (H, W, 3) and its cover (H, W), both uint8, and how much it counts."""

    name: str
    kind: type
    picture: np.ndarray
    cover: np.ndarray
    share: float


def shown(thing: Photograph | Bench | Drawing) -> list[Shown]:
    """All views of a picture; they depend on this picture alone."""
    return [
        Shown(thing.name, type(thing), v.picture, np.rint(v.cover * 255).astype(np.uint8), v.share)
        for v in views(thing, SEED)
    ]


# --- crops ---------------------------------------------------------------------------------------


class Pool:
    """Views to draw crops from: of each kind its share, of each view by its size."""

    def __init__(self, pool: list[Shown], shares: dict[type, float]):
        self.views = [view for view in pool if view.kind in shares]
        sizes = np.array([min(v.cover.size, 1.2e6) * v.share for v in self.views])
        for kind, share in shares.items():
            mine = np.array([v.kind is kind for v in self.views])
            sizes[mine] *= share / sizes[mine].sum()
        self.upto = np.cumsum(sizes / sizes.sum())

    def batch(self, rng) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pictures (B, n, n, 3), covers (B, n, n), 0 to 255, and which were drawn by hand (B,)."""
        chosen = np.minimum(np.searchsorted(self.upto, rng.uniform(size=BATCH)), len(self.upto) - 1)
        pictures, covers = zip(*[crop(self.views[k], rng) for k in chosen], strict=True)
        by_hand = np.array([self.views[k].kind is Photograph for k in chosen])
        return np.stack(pictures), np.stack(covers), by_hand


def crop(view: Shown, rng) -> tuple[np.ndarray, np.ndarray]:
    """A square part of a view, mostly with leaves and ground, turned, scaled, in other light."""
    factor = rng.choice(ENLARGED)
    side = min(int(CROP_PX / factor), *view.cover.shape)
    top, left = _place(view.cover, side, rng)
    part = np.s_[top : top + side, left : left + side]
    picture, cover = view.picture[part], view.cover[part]
    if side != CROP_PX:
        way = cv2.INTER_AREA if side > CROP_PX else cv2.INTER_LINEAR
        picture, cover = (
            cv2.resize(each, (CROP_PX, CROP_PX), interpolation=way) for each in (picture, cover)
        )
    turn = rng.integers(8)
    picture, cover = np.rot90(picture, turn % 4), np.rot90(cover, turn % 4)
    if turn > 3:
        picture, cover = picture[:, ::-1], cover[:, ::-1]
    gains = np.exp(rng.normal(0, 0.22) + rng.normal(0, 0.07, 3)).astype(np.float32)
    picture = np.clip(picture * gains, 0, 255)
    if side < CROP_PX:  # enlarging has smoothed the grain away
        picture = picture + rng.normal(0, rng.uniform(0, 3), picture.shape).astype(np.float32)
    return np.clip(picture, 0, 255), cover


def _place(cover: np.ndarray, side: int, rng) -> tuple[int, int]:
    """The most mixed of three places, or, one time in four, any."""
    best = (-1.0, 0, 0)
    for _ in range(3 if rng.uniform() < 0.75 else 1):
        top, left = (int(rng.integers(0, size - side + 1)) for size in cover.shape)
        share = cover[top : top + side : 4, left : left + side : 4].mean() / 255
        best = max(best, (share * (1 - share), top, left))
    return best[1:]


# --- training ------------------------------------------------------------------------------------


def train(network: CanopyNetwork, pool: Pool, steps: int, rate: float, seed: int) -> CanopyNetwork:
    """Train on, by the cross-entropy of every pixel's share.

    AdamW (Loshchilov & Hutter 2019, arXiv:1711.05101) with a rate that falls like a cosine.
    """
    rng = np.random.default_rng(seed)
    torch.manual_seed(seed)
    network.train().to(memory_format=torch.channels_last)
    trained = [each for each in network.parameters() if each.requires_grad]
    optimiser = torch.optim.AdamW(trained, rate, weight_decay=1e-4)
    began, mean = time.monotonic(), None
    for step in range(steps):
        pictures, covers, by_hand = pool.batch(rng)
        for group in optimiser.param_groups:
            fall = 0.5 + 0.5 * np.cos(np.pi * step / steps)
            group["lr"] = rate * min(1, (step + 1) / 200) * fall + 1e-6
        loss = _loss(network(logarithms(pictures)), covers, by_hand)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        mean = loss.item() if mean is None else 0.98 * mean + 0.02 * loss.item()
        if step % 250 == 0:
            spent = time.monotonic() - began
            print(f"step {step} of {steps}: {mean:.4f}, {spent:.0f} s", file=sys.stderr, flush=True)
    return network.eval()


def _loss(odds, covers: np.ndarray, by_hand: np.ndarray):
    """Cross-entropy of shares where truth is exact, and of drawn masks where hands drew them.

    What hands drew is exact away from its outline.
    """
    truth = places(covers.astype(np.float32) / 255)
    exact = np.ones(covers.shape, np.float32)
    window = np.ones((5, 5), np.uint8)
    for number in np.flatnonzero(by_hand):
        leaf = (covers[number] > 127).astype(np.uint8)
        exact[number] = cv2.dilate(leaf, window) == cv2.erode(leaf, window)
    weights = torch.cat([places(exact), torch.ones_like(truth) * _each(by_hand)], 1)
    found = functional.binary_cross_entropy_with_logits(
        odds, torch.cat([truth, truth], 1), reduction="none"
    )
    return (found * weights).sum() / weights.sum()


def _each(by_hand: np.ndarray):
    return torch.from_numpy(by_hand.astype(np.float32))[:, None, None, None]


def alone(pool: list[Shown]) -> CanopyNetwork:
    """A network that has seen no photograph."""
    torch.manual_seed(SEED)
    return train(CanopyNetwork(), Pool(pool, {Bench: 0.8, Drawing: 0.2}), *ALONE, SEED)


def first_part(pool: list[Shown], kept: Path | None) -> CanopyNetwork:
    """The network that has seen no photograph: taken from a file, or trained and kept there."""
    if kept and kept.exists():
        network = CanopyNetwork()
        network.load_state_dict(torch.load(kept))
        return network
    network = alone(pool)
    if kept:
        torch.save(network.state_dict(), kept)
    return network


def other_pictures(benches: Path) -> list[Bench | Drawing]:
    """What the model learns from beside photographs."""
    return [*read_benches(benches), *(Drawing(number) for number in range(DRAWINGS))]


def together(network: CanopyNetwork, pool: list[Shown], photos: list[Photograph]) -> CanopyModel:
    """A model trained on with photographs too, with the threshold that suits `photos`."""
    own = CanopyNetwork()
    own.load_state_dict(network.state_dict())
    own = train(own, Pool(pool, SHARES), *TOGETHER, SEED)
    model = CanopyModel(Network(as_onnx(own)), 0.5)
    return CanopyModel(model.network, best_threshold(model, photos))


def best_threshold(model: CanopyModel, photos: list[Photograph]) -> float:
    """The threshold with the best pooled overlap, less a price for biased area."""
    both, either, found = np.zeros((3, len(THRESHOLDS)))
    true = sum(photo.mask.sum() for photo in photos)
    for photo in photos:
        odds = model.network.odds(photo.picture)[1]
        for index, threshold in enumerate(THRESHOLDS):
            mask = odds > np.log(threshold / (1 - threshold))
            both[index] += (mask & photo.mask).sum()
            either[index] += (mask | photo.mask).sum()
            found[index] += mask.sum()
    value = both / either - BIAS_PRICE * np.abs(found / true - 1)
    return round(float(THRESHOLDS[np.argmax(value)]), 2)


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
        "pooled_iou": round(float(both.sum() / either.sum()), 4),
        "median_iou": round(float(np.median(each)), 4),
        "median_dice": round(float(np.median(2 * each / (1 + each))), 4),
        "area_bias": round(float(found.sum() / true.sum() - 1), 4),
        "mean_cover_error": round(float(np.mean((found - true) / size)), 4),
        "mean_absolute_cover_error": round(float(np.mean(np.abs(found - true) / size)), 4),
    }


def folds(photos: list[Photograph], by: str = "plot") -> list[list[int]]:
    """Indices of the photographs of each test fold; a plot (or season) is in one fold only."""
    from sklearn.model_selection import GroupKFold

    groups = [getattr(photo, by) for photo in photos]
    splitter = GroupKFold(min(FOLDS, len(set(groups))))
    return [list(map(int, test)) for _, test in splitter.split(photos, groups=groups)]


def cross_validate(photos: list[Photograph], pool: list[Shown], network: CanopyNetwork) -> dict:
    """Scores of out-of-fold masks, and of excess green with Otsu's threshold, by class of cover.

    `network` has seen no photograph; every fold trains it on with its own.
    """
    rows = {"model": {}, "more than half": {}, "excess green + Otsu": {}}
    for number, test in enumerate(folds(photos), 1):
        unseen = {photos[i].name for i in test}
        known = [photo for photo in photos if photo.name not in unseen]
        model = together(network, [view for view in pool if view.name not in unseen], known)
        for i in test:
            truth, odds = photos[i].mask, model.odds(photos[i].picture)
            rows["model"][i] = counts(model.mask(photos[i].picture), truth)
            rows["more than half"][i] = counts(clean(odds > 0), truth)
            rows["excess green + Otsu"][i] = counts(INDICES["exg"].mask(photos[i].picture), truth)
        so_far = scores(list(rows["model"].values()))
        print(f"fold {number}: threshold {model.threshold}, {so_far}", file=sys.stderr, flush=True)
    result = {}
    for method, found in rows.items():
        result[method] = {"all": scores(list(found.values()))}
        for low, high in pairwise(COVER_CLASSES):
            part = [row for row in found.values() if low <= row[3] / row[4] < high]
            result[method][f"cover {low:.0%} to {high:.0%}"] = scores(part)
    return result


def record(photos, benches, validation: dict | None, date: str) -> dict:
    """What the model's file says about itself before its numbers."""
    return {
        "what": "How much of each pixel of a colour picture seen from above is leaf: a U-net of "
        f"{', '.join(map(str, WIDTHS))} channels on logarithmic colours, in ONNX, base64",
        "licence": "CC BY-SA 4.0 for the numbers in this file, which were derived from "
        "photographs under that licence; the code of lapsekit is MIT",
        "training": {
            "data_set": "Eschikon Wheat Segmentation (EWS), training split",
            "doi": DOI,
            "data_licence": "CC BY-SA 4.0",
            "citation": CITATION,
            "photographs": len(photos),
            "plots": len({photo.plot for photo in photos}),
            "rendered_benches": len({bench.name.rsplit("-", 1)[0] for bench in benches}),
            "rendered_frames": len(benches),
            "drawings": DRAWINGS,
            "rendered_by": "tests/render_training_frames.py: plants, colours, things and light "
            "of their own; no frame of the sample season was seen",
            "date": date,
            "seed": SEED,
            "photograph_views": [list(each) for each in PHOTOGRAPH_VIEWS],
            "bench_views": BENCH_VIEWS,
            "bench_scales": list(BENCH_SCALES),
            "steps": [ALONE[0], TOGETHER[0]],
            "libraries": {"torch": torch.__version__, "opencv": cv2.__version__},
            "cross_validated_by_plot": validation and validation["model"],
        },
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--data", help="folder that contains field-wheat/")
    parser.add_argument("--benches", required=True, type=Path, help="rendered training frames")
    parser.add_argument("--out", required=True, type=Path, help="file to write the model to")
    parser.add_argument("--alone", type=Path, help="keep here, or take from here, the first part")
    parser.add_argument("--quick", action="store_true", help="no cross-validation")
    today = datetime.now(UTC).date().isoformat()
    parser.add_argument("--date", default=today, help="date for the record (default: today)")
    given = parser.parse_args()
    torch.set_num_threads(1)
    photos = read_photographs(photograph_folder(given.data))
    others = other_pictures(given.benches)
    benches = [each for each in others if isinstance(each, Bench)]
    pool = [view for thing in (*photos, *others) for view in shown(thing)]
    network = first_part(pool, given.alone)
    final = together(network, pool, photos)
    given.out.write_text(_with_record(final, photos, benches, None, given.date), encoding="utf-8")
    if not given.quick:
        validation = cross_validate(photos, pool, network)
        text = _with_record(final, photos, benches, validation, given.date)
        given.out.write_text(text, encoding="utf-8")
    print(f"{given.out}: mark {final.mark}, threshold {final.threshold}")


def _with_record(model, photos, benches, validation, date) -> str:
    about = record(photos, benches, validation, date)
    return CanopyModel(model.network, model.threshold, about).to_json()


if __name__ == "__main__":
    main()
