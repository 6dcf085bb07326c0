"""The network that knows shares of leaf: trained on rendered benches, drawings and photographs.

Benches and drawings have exact truth. A mask drawn by hand has not, near its outline: there a
photograph counts little, inside leaves and away from them nearly as much as a bench.
"""

import multiprocessing
import sys
import time
from dataclasses import astuple, dataclass

import cv2
import numpy as np
import torch
from canopy_network import CanopyNetwork, places, planes_of
from torch.nn import functional
from training_pictures import Bench, Drawing, views

from lapsekit.photographs import Photograph
from lapsekit.vision.detail import WHOLE, Detail

CROP_PX, BATCH = 192, 8
ENLARGED = (1, 1, 1, 0.5, 1.6, 2.4)
"""How crops are enlarged once more: leaves of a full-size photograph are as wide as a hand here."""

ALONE = ({Bench: 0.86, Drawing: 0.14}, 24_000, 2.5e-3)
TOGETHER = ({Bench: 0.76, Drawing: 0.12, Photograph: 0.12}, 8_000, 1.5e-3)
SETTLING = ({Bench: 0.78, Drawing: 0.22}, 5_500, 8e-4)
"""Shares of crops, steps and greatest learning rate without photographs, then with them, and at
last without again: exact truth sets right what hands drew too wide."""

SURE, UNSURE = 0.6, 0.03
"""By what a photograph's pixel counts less: inside a leaf or beyond its outline, and near the
outline. Hands draw a pixel or two too wide: a network that heard them there took narrow leaves for
wider."""

AROUND_PX, BARE = 65, 0.1
"""A pixel counts by the share of leaf in a square of so many pixels around it: one over the square
root of the sum of that share and `BARE`. A seedling's area is to be as right as a grown plant's, in
parts of itself."""


@dataclass(frozen=True)
class Shown:
    """One view of a picture: (H, W, 3) and its cover (H, W), both uint8, and how much it counts."""

    name: str
    kind: type
    picture: np.ndarray
    cover: np.ndarray
    share: float
    detail: Detail


def shown(thing: Photograph | Bench | Drawing, seed: int) -> list[Shown]:
    """All views of a picture; they depend on this picture alone."""
    name, kind = thing.name, type(thing)
    return [
        Shown(name, kind, v.picture, np.rint(v.cover * 255).astype(np.uint8), v.share, v.detail)
        for v in views(thing, seed)
    ]


# --- crops ---------------------------------------------------------------------------------------


class Pool:
    """Views to draw crops from: of each kind its share, of each view by the root of its size and
    by how much it counts.

    By their sizes, coarse pictures would hardly be seen: they have few pixels.
    """

    def __init__(self, pool: list[Shown], shares: dict[type, float]):
        self.views = [view for view in pool if view.kind in shares]
        sizes = np.array([min(v.cover.size, 1.2e6) ** 0.5 * v.share for v in self.views])
        for kind, share in shares.items():
            mine = np.array([v.kind is kind for v in self.views])
            sizes[mine] *= share / sizes[mine].sum()
        self.upto = np.cumsum(sizes / sizes.sum())

    def batch(self, rng) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Pictures (B, n, n, 3), what is told of them (B, 2), covers (B, n, n), 0 to 255, and
        which were drawn by hand (B,).
        """
        chosen = np.minimum(np.searchsorted(self.upto, rng.uniform(size=BATCH)), len(self.upto) - 1)
        found = zip(*[crop(self.views[k], rng) for k in chosen], strict=True)
        by_hand = np.array([self.views[k].kind is Photograph for k in chosen])
        return *map(np.stack, found), by_hand


def crop(view: Shown, rng) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A square part of a view, mostly with edges of leaves, turned, scaled, in other light.

    Picture, what is told of it, and cover.
    """
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
    detail = view.detail if side <= CROP_PX else WHOLE
    return np.clip(picture, 0, 255), np.float32(astuple(detail)), cover


def _place(cover: np.ndarray, side: int, rng) -> tuple[int, int]:
    """The place with most parts of pixels of four, or, every second time, any.

    Narrow leaves are few among all pixels, and hardest; but where they are sought there is more
    leaf than elsewhere.
    """
    best = (-1.0, 0, 0)
    for _ in range(4 if rng.uniform() < 0.5 else 1):
        top, left = (int(rng.integers(0, size - side + 1)) for size in cover.shape)
        part = cover[top : top + side : 3, left : left + side : 3]
        share = part.mean() / 255
        best = max(
            best, (((part > 12) & (part < 243)).mean() + 0.1 * share * (1 - share), top, left)
        )
    return best[1:]


class Fed:
    """Batches of a pool, made by a process of their own while the network learns."""

    def __init__(self, pool: Pool, seed: int):
        context = multiprocessing.get_context("fork")
        self._queue = context.Queue(6)
        self._process = context.Process(target=self._fill, args=(pool, seed), daemon=True)

    def _fill(self, pool: Pool, seed: int) -> None:
        cv2.setNumThreads(1)
        rng = np.random.default_rng(seed)
        while True:
            self._queue.put(pool.batch(rng))

    def __enter__(self):
        self._process.start()
        return self._queue.get

    def __exit__(self, *_):
        self._process.terminate()


# --- training ------------------------------------------------------------------------------------


def train(
    network: CanopyNetwork, pool: list[Shown], how: tuple[dict, int, float], seed: int
) -> CanopyNetwork:
    """Train on, by the cross-entropy of every pixel's share.

    AdamW (Loshchilov & Hutter 2019, arXiv:1711.05101) with a rate that falls like a cosine.
    """
    shares, steps, rate = how
    torch.manual_seed(seed)
    network.train().to(memory_format=torch.channels_last)
    trained = [each for each in network.parameters() if each.requires_grad]
    optimiser = torch.optim.AdamW(trained, rate, weight_decay=1e-4)
    began, mean = time.monotonic(), None
    with Fed(Pool(pool, shares), seed) as batch:
        for step in range(steps):
            pictures, told, covers, by_hand = batch()
            for group in optimiser.param_groups:
                fall = 0.5 + 0.5 * np.cos(np.pi * step / steps)
                group["lr"] = rate * min(1, (step + 1) / 200) * fall + 1e-6
            loss = _loss(network(planes_of(pictures, told)), covers, by_hand)
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
            mean = loss.item() if mean is None else 0.98 * mean + 0.02 * loss.item()
            if step % 250 == 0:
                spent = time.monotonic() - began
                told = f"step {step} of {steps}: {mean:.4f}, {spent:.0f} s"
                print(told, file=sys.stderr, flush=True)
    return network.eval()


def _loss(odds, covers: np.ndarray, by_hand: np.ndarray):
    """Cross-entropy of shares, weighed by how exact the truth is and how little leaf is around."""
    weights = np.empty(covers.shape, np.float32)
    for number, cover in enumerate(covers):
        share = cv2.blur(np.float32(cover) / 255, (AROUND_PX,) * 2, borderType=cv2.BORDER_REFLECT)
        weights[number] = (share + BARE) ** -0.5
    for number in np.flatnonzero(by_hand):
        leaf = (covers[number] > 127).astype(np.uint8)
        inside = cv2.erode(leaf, np.ones((3, 3), np.uint8)) > 0
        beyond = cv2.dilate(leaf, np.ones((7, 7), np.uint8)) == 0
        weights[number] *= np.where(inside | beyond, SURE, UNSURE)
    truth, weights = places(covers.astype(np.float32) / 255), places(weights)
    found = functional.binary_cross_entropy_with_logits(odds, truth, reduction="none")
    return (found * weights).sum() / weights.sum()
