"""The network that knows shares of leaf: trained on rendered benches, drawings and photographs.

Benches and drawings have exact truth. A mask drawn by hand has not, near its outline: there a
photograph counts little, inside leaves and away from them nearly as much as a bench.
"""

import copy
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

SURE = 0.6
"""How much a photograph's pixel counts inside a leaf and well beyond its outline, beside one whose
truth is exact."""


@dataclass(frozen=True)
class Course:
    """A part of the training.

    Attributes
    ----------
    shares : dict
        Share of crops by kind of picture.
    steps : int
    rate : float
        Greatest learning rate.
    outlines : float
        How much a photograph's pixel counts near a drawn outline. Hands draw a pixel or two too
        wide: where they are heard much there, narrow leaves are taken for wider.
    mean : float
        What each step counts in the running mean of the numbers that is the result (Polyak &
        Juditsky 1992, SIAM J. Control Optim. 30(4): 838-855); 1 takes the last.
    heeded : float
        Weight of the starting network's answer in what an exact picture's pixel is asked for,
        where it differs from the truth by less than `AGREED`: what that network knows of edges
        is not to be forgotten (Li & Hoiem 2018, IEEE Trans. Pattern Anal. Mach. Intell. 40(12):
        2935-2947).
    kept : float
        Weight of that network in the mean with the course's end (Wortsman et al. 2022,
        arXiv:2203.05482).
    """

    shares: dict[type, float]
    steps: int
    rate: float
    outlines: float = 0.03
    mean: float = 1.0
    heeded: float = 0.0
    kept: float = 0.0


AGREED = 0.3
"""See `Course.heeded`."""

ALONE = Course({Bench: 0.86, Drawing: 0.14}, 24_000, 2.5e-3)
TOGETHER = Course({Bench: 0.76, Drawing: 0.12, Photograph: 0.12}, 8_000, 1.5e-3)
SETTLING = Course({Bench: 0.78, Drawing: 0.22}, 5_500, 8e-4)
"""Without photographs, then with them, and again without: exact truth sets right what hands drew
too wide."""

OUTDOORS = Course(
    {Bench: 0.56, Drawing: 0.19, Photograph: 0.25}, 6_000, 6e-4, 0.15, 0.004, heeded=0.5, kept=0.55
)
"""Photographs heard near outlines. A network that hardly hears hands there misses most of the
narrow leaves of wheat in winter, which are all outline; one that only hears more of them takes
chives for a tenth larger: hence the mean with the network of before. The first such means lost the
insides of broad leaves, until drawings showed some (`training_drawings.NEAR`). The shipped network
is a mean of three of which this course's end is one: its file's ``training`` tells."""

GROUNDS = Course(
    {Bench: 0.66, Drawing: 0.19, Photograph: 0.15}, 6_000, 8e-4, 0.15, 0.004, heeded=0.5, kept=0.75
)
"""Benches on other soils, in other pots, on other boards (`training_grounds`); plants in pots. A
network that had seen brown and grey soils took the reddish soil around a seedling, and the clay
rim beside it, for red leaves. Alone, such a network loses red lettuce on soil of its own colour;
with views whose ground has the red leaves' colour, and in the mean with the network of before, it
keeps most of it. In the shipped network one that took the course twice counts for a quarter: more
than that the sample season's red lettuce does not bear."""

COURSES = {"outdoors": OUTDOORS, "grounds": GROUNDS}
"""That a trained network can be trained on by, in the order in which the shipped one was."""

WARM_STEPS = 200
"""The learning rate rises for so long, and no mean is taken before."""

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


def train(network: CanopyNetwork, pool: list[Shown], course: Course, seed: int) -> CanopyNetwork:
    """Train on, by the cross-entropy of every pixel's share.

    AdamW (Loshchilov & Hutter 2019, arXiv:1711.05101) with a rate that falls like a cosine.
    """
    steps = course.steps
    torch.manual_seed(seed)
    network.train().to(memory_format=torch.channels_last)
    trained = _trained(network)
    optimiser = torch.optim.AdamW(trained, course.rate, weight_decay=1e-4)
    held = [each.detach().clone() for each in trained]
    before = copy.deepcopy(network).eval() if course.heeded or course.kept else None
    began, mean = time.monotonic(), None
    with Fed(Pool(pool, course.shares), seed) as batch:
        for step in range(steps):
            pictures, told, covers, by_hand = batch()
            for group in optimiser.param_groups:
                fall = 0.5 + 0.5 * np.cos(np.pi * step / steps)
                group["lr"] = course.rate * min(1, (step + 1) / WARM_STEPS) * fall + 1e-6
            planes = planes_of(pictures, told)
            truth = places(covers.astype(np.float32) / 255)
            if course.heeded:
                truth = _heeding(truth, before, planes, by_hand, course.heeded)
            loss = _loss(network(planes), truth, _weights(covers, by_hand, course.outlines))
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
            counts = max(course.mean, 1 / (step + 1)) if step >= WARM_STEPS else 1.0
            torch._foreach_lerp_(held, [each.detach() for each in trained], counts)
            mean = loss.item() if mean is None else 0.98 * mean + 0.02 * loss.item()
            if step % 250 == 0:
                spent = time.monotonic() - began
                told = f"step {step} of {steps}: {mean:.4f}, {spent:.0f} s"
                print(told, file=sys.stderr, flush=True)
    with torch.no_grad():
        torch._foreach_copy_(trained, held)
        if course.kept:
            torch._foreach_lerp_(trained, _trained(before), course.kept)
    return network.eval()


def _trained(network: CanopyNetwork) -> list:
    return [each for each in network.parameters() if each.requires_grad]


def _heeding(truth, before: CanopyNetwork, planes, by_hand: np.ndarray, heeded: float):
    """Truth of exact pictures, drawn towards what the network of before says where they agree."""
    with torch.no_grad():
        said = torch.sigmoid(before(planes))
    exact = torch.from_numpy(~by_hand).reshape(-1, 1, 1, 1)
    return torch.lerp(truth, said, heeded * (exact & ((said - truth).abs() < AGREED)))


def _loss(odds, truth, weights):
    """Cross-entropy of shares."""
    found = functional.binary_cross_entropy_with_logits(odds, truth, reduction="none")
    return (found * weights).sum() / weights.sum()


def _weights(covers: np.ndarray, by_hand: np.ndarray, outlines: float):
    """How much pixels count: by how exact the truth is and how little leaf is around."""
    weights = np.empty(covers.shape, np.float32)
    for number, cover in enumerate(covers):
        share = cv2.blur(np.float32(cover) / 255, (AROUND_PX,) * 2, borderType=cv2.BORDER_REFLECT)
        weights[number] = (share + BARE) ** -0.5
    for number in np.flatnonzero(by_hand):
        leaf = (covers[number] > 127).astype(np.uint8)
        inside = cv2.erode(leaf, np.ones((3, 3), np.uint8)) > 0
        beyond = cv2.dilate(leaf, np.ones((7, 7), np.uint8)) == 0
        weights[number] *= np.where(inside | beyond, SURE, outlines)
    return places(weights)
