"""Train what looks again at pixels of which a canopy model's network is not sure.

    python tests/train_second_look.py MODEL [MODEL ...] --benches DIR

Each MODEL is a canopy model's file, in which the second look is put anew; it learns what the first
one's network leaves in doubt. --benches is what ``tests/render_training_frames.py`` made. It learns
from rendered benches and from drawings, whose true share of every pixel is known, and from no
photograph: so models that are held out from some plots (``sample_frames/held_out``) have the same
one. With --on it is trained on from what the first model has. Needs the extra [train] and 10 GB of
memory. Half an hour on two cores.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import torch
from torch import nn
from torch.nn import functional
from training_pictures import Drawing, View, developed, read_bench, views

from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.doubtful import LOOKS
from lapsekit.vision.second_look import SecondLook, looked_at

KEPT = (*range(44, 48), *range(66, 71), 75, 80, 85, 90, 95, 98, *range(102, 124))
"""Benches that are not learned from; what it does for these is printed."""

SEED, DRAWINGS, BATCH, UNITS = 20310417, 100, 8192, 128
ANEW, ON = (9_000, 3e-3), (3_000, 5e-4)
"""Steps and greatest learning rate, anew and trained on."""

VIEWS, MOST_OF_A_VIEW = 4, 8000
SCALES = (0.35, 1.0)
"""Of views: enlarged ones lack the fine grain of leaf and soil that is looked at."""

DROPPED = 0.1
"""Share of units left out at random (Srivastava et al. 2014, J. Mach. Learn. Res. 15: 1929)."""

ENOUGH = 500_000
"""Pixels that say how much each figure varies."""

CLIP = 4.0
"""Standard deviations within which what is looked at is held."""


def bench_views(folder: Path, kept: bool) -> Iterator[View]:
    """Every frame of the benches that are learned from, or of those that are not."""
    for path in sorted(folder.glob("bench-*-?.npz")):
        number = int(path.stem.split("-")[1])
        if (number in KEPT) == kept:
            bench = read_bench(path)
            for view in range(VIEWS):
                rng = np.random.default_rng([SEED, number, int(path.stem[-1]), view])
                yield developed(bench, float(np.exp(rng.uniform(*np.log(SCALES)))), rng)


def drawn_views() -> Iterator[View]:
    for number in range(DRAWINGS):
        yield from views(Drawing(number), SEED)


def seen_of(model: CanopyModel, shown: Iterator[View]) -> tuple[np.ndarray, np.ndarray]:
    """What is looked at in views (n, LOOKS), and the true shares (n,)."""
    looks, truth = [], []
    for view in shown:
        odds = model.network.odds(view.picture, view.detail)
        blocks = list(looked_at(view.picture, odds, view.detail))
        if not blocks:
            continue
        places, seen = (np.concatenate(each) for each in zip(*blocks, strict=True))
        some = np.random.default_rng(SEED).permutation(places.size)[:MOST_OF_A_VIEW]
        looks.append(seen[some].astype(np.float16))
        truth.append(view.cover.ravel()[places[some]])
    return np.concatenate(looks).astype(np.float32), np.concatenate(truth)


def trained(looks: np.ndarray, truth: np.ndarray, on: SecondLook | None = None) -> SecondLook:
    """What moves the log odds so that the true shares are likeliest (cross-entropy)."""
    torch.manual_seed(SEED)
    sample = looks[:: max(1, len(looks) // ENOUGH)].astype(float)
    middle, spread = sample.mean(axis=0), sample.std(axis=0) + 1e-6
    lowest, highest = (np.float32(np.float16(middle + way * CLIP * spread)) for way in (-1, 1))
    if on is not None:
        lowest, highest = on.lowest, on.highest
    steps, speed = ANEW if on is None else ON
    seen, true = (torch.from_numpy(each) for each in (looks, truth))
    middle, spread, low, high = (
        torch.from_numpy(np.float32(each)) for each in (middle, spread, lowest, highest)
    )
    network = nn.Sequential(
        *(nn.Linear(LOOKS, UNITS), nn.ReLU(), nn.Dropout(DROPPED)),
        *(nn.Linear(UNITS, UNITS), nn.ReLU(), nn.Dropout(DROPPED)),
        nn.Linear(UNITS, 1),
    )
    if on is not None:
        _take(network, on, middle, spread)
    optimizer = torch.optim.AdamW(network.parameters(), speed, weight_decay=1e-2)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimizer, speed, steps)
    for step in range(steps):
        some = torch.randint(0, len(seen), (BATCH,))
        standard = (seen[some].clamp(low, high) - middle) / spread
        told = seen[some, 0] + network(standard)[:, 0]
        loss = functional.binary_cross_entropy_with_logits(told, true[some])
        optimizer.zero_grad()
        loss.backward()
        optimizer.step()
        schedule.step()
        if step % 1000 == 0:
            print(f"step {step:6d}  cross-entropy {loss.item():.4f}", flush=True)
    return _on_looks_as_they_are(network, middle, spread, lowest, highest)


def _take(network, look: SecondLook, middle, spread) -> None:
    """The numbers of a second look, acting on figures that are standardised."""
    layers = [one for one in network if hasattr(one, "weight")]
    with torch.no_grad():
        for layer, parts in zip(layers, look.layers, strict=True):
            layer.weight.copy_(torch.from_numpy(parts[0].copy()))
            layer.bias.copy_(torch.from_numpy(parts[1].copy()))
        layers[0].bias += layers[0].weight @ middle
        layers[0].weight *= spread


def _on_looks_as_they_are(network, middle, spread, lowest, highest) -> SecondLook:
    """The network acting on figures that are not standardised."""
    layers = [(one.weight.detach(), one.bias.detach()) for one in network if hasattr(one, "weight")]
    layers[0] = layers[0][0] / spread, layers[0][1]
    # Half as many digits, so that followers' browsers have half as much to fetch
    layers = [(weights.half().float(), biases) for weights, biases in layers]
    weights, biases = layers[0]
    layers[0] = weights, biases - weights @ middle
    plain = tuple(tuple(part.numpy() for part in layer) for layer in layers)
    return SecondLook.from_plain(SecondLook(lowest, highest, plain).as_plain())


def judged(look: SecondLook, looks: np.ndarray, truth: np.ndarray) -> tuple[float, float]:
    """Cross-entropy of doubtful pixels by the network alone, and after a second look."""
    before = torch.from_numpy(looks[:, 0])
    after = before + torch.from_numpy(look._moved(looks))
    true = torch.from_numpy(truth)
    found = (functional.binary_cross_entropy_with_logits(o, true) for o in (before, after))
    return tuple(float(each) for each in found)


def read_model(path: Path) -> CanopyModel:
    """A model without its second look, which may be of another kind."""
    fields = json.loads(path.read_text("utf-8"))
    fields["second_look"] = SecondLook.idle().as_plain()
    return CanopyModel.from_json(json.dumps(fields))


def put_into(path: Path, look: SecondLook, record: dict) -> None:
    """A model's file with another second look and what it was learned from."""
    model = read_model(path)
    training = {**model.record["training"], "second_look": record}
    told = replace(model, second_look=look, record={**model.record, "training": training})
    path.write_text(told.to_json(), "utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("models", type=Path, nargs="+")
    parser.add_argument("--benches", type=Path, required=True)
    parser.add_argument("--on", action="store_true", help="train on from what the first model has")
    given = parser.parse_args()
    model = read_model(given.models[0])
    known = CanopyModel.from_json(given.models[0].read_text("utf-8")) if given.on else None
    parts = (seen_of(model, shown) for shown in (bench_views(given.benches, False), drawn_views()))
    looks, truth = (np.concatenate(each) for each in zip(*parts, strict=True))
    look = trained(looks, truth, known and known.second_look)
    before, after = judged(look, *seen_of(model, bench_views(given.benches, True)))
    print(f"benches kept: cross-entropy of pixels in doubt {before:.4f} -> {after:.4f}")
    record = {
        "pixels": len(truth),
        "drawings": DRAWINGS,
        "steps": (ON if given.on else ANEW)[0],
        "kept_benches": list(KEPT),
        "cross_entropy_of_kept": {"network": round(before, 4), "second_look": round(after, 4)},
    }
    for path in given.models:
        put_into(path, look, record)


if __name__ == "__main__":
    main()
