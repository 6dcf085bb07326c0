"""What a few strokes do to plants that the canopy model has not seen, of kinds that it knows.

    python tests/prove_strokes.py --benches DIR [--model FILE]

DIR holds benches that ``tests/render_training_frames.py`` made and the model has not seen (`KEPT`
in ``tests/train_second_look.py``). Every plant that is large enough in three
frames of its bench is taught by six strokes on two of them, drawn at random inside it and on the
ground around it; the rest are measured with what was learned and without. The frames of a bench are
brought to the same brightness of the ground first, as a season's are. Told are Dice coefficients,
errors of area, and how many (a plant in a frame each) were made worse: strokes must help where the
model is poor, and spoil nothing where it is right. How strokes work was designed on the kept
benches, and how much one weighs was chosen on them and on those from 102 on.
"""

import argparse
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
from training_pictures import photographed

from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.cover import cover_by_odds
from lapsekit.vision.edges import window
from lapsekit.vision.strokes import Stroke
from lapsekit.vision.trained_colours import Lesson, Seen, TrainedColours, stroke_mask

LEAST_PX, FEWEST_FRAMES, TAUGHT = 700, 3, 2
GROUND = 0.12 * np.float32([1.05, 1, 0.9])
"""What ground is brought to in linear light, red, green and blue: that of an overcast day."""

PLANT_WIDTH_PX, GROUND_WIDTH_PX, LENGTH_PX, TRIES = 4, 5, 25, 200
AROUND_PX, JUDGED_PX = 40, 30
POOR, GOOD, WORSE = 0.90, 0.95, 0.01


@dataclass(frozen=True, eq=False)
class Shown:
    """One frame: the picture, the model's log odds, true numbers of plants and shares of leaf."""

    picture: np.ndarray
    odds: np.ndarray
    numbers: np.ndarray
    share: np.ndarray
    species: list[str]


@dataclass(frozen=True)
class Judged:
    """A plant in one frame, without strokes and with them: Dice, and error of area as a share."""

    species: str
    px: int
    dice: tuple[float, float]
    error: tuple[float, float]


def shown(path: Path, model: CanopyModel) -> Shown:
    """A rendered frame through its bench's camera."""
    with np.load(path, allow_pickle=True) as stored:
        light, fine = stored["light"].astype(np.float32), stored["plant"]
        species = [str(name) for name in stored["species"]]
    size = light.shape[1::-1]
    leaf = cv2.resize((fine > 0).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    light *= GROUND / np.median(light[leaf < 0.01], axis=0)
    bench = int(path.stem.split("-")[1])
    picture, detail = photographed(light, np.random.default_rng([7, bench]))
    step = fine.shape[0] // light.shape[0]
    numbers = fine[step // 2 :: step, step // 2 :: step]
    return Shown(picture, model.odds(picture, detail), numbers, leaf, species)


def drawn(mask: np.ndarray, is_plant: bool, rng) -> Stroke | None:
    """A stroke that lies within a mask; None where there is no room for one."""
    rows, columns = np.nonzero(mask)
    width = PLANT_WIDTH_PX if is_plant else GROUND_WIDTH_PX
    for _ in range(TRIES if len(rows) else 0):
        middle = rng.integers(len(rows))
        away = np.hypot(rows - rows[middle], columns - columns[middle])
        near = np.flatnonzero((away < LENGTH_PX) & (away > LENGTH_PX / 3))
        if len(near) < 2:
            return None
        first, last = rng.choice(near, 2)
        points = tuple((float(columns[k]), float(rows[k])) for k in (first, middle, last))
        found = Stroke("frame", is_plant, width, points)
        if mask[stroke_mask(mask.shape, found)].mean() > 0.97:
            return found
    return None


def grown(mask: np.ndarray, by_px: int) -> np.ndarray:
    return cv2.dilate(mask.astype(np.uint8), window(by_px)) > 0


def lesson(frame: Shown, seen: Seen, number: int, plants: int, rng) -> Lesson:
    """Three strokes, some of them over the plant."""
    own = frame.numbers == number
    inside = cv2.erode(own.astype(np.uint8), window(1)) > 0
    around = grown(own, AROUND_PX) & ~grown(frame.numbers > 0, 2)
    kinds = [True] * plants + [False] * (3 - plants)
    strokes = (drawn(inside if kind else around, kind, rng) for kind in kinds)
    return Lesson(seen, tuple(stroke for stroke in strokes if stroke))


def judged(frame: Shown, number: int, colours: TrainedColours) -> Judged:
    """One plant, measured with and without what was taught."""
    own = frame.numbers == number
    x, y, width, height = cv2.boundingRect(own.astype(np.uint8))
    margin = AROUND_PX
    part = np.s_[max(0, y - margin) : y + height + margin, max(0, x - margin) : x + width + margin]
    own, numbers, share = own[part], frame.numbers[part], frame.share[part]
    here = ((numbers == 0) | own) & grown(own, JUDGED_PX)
    picture, odds = (np.ascontiguousarray(each[part]) for each in (frame.picture, frame.odds))
    covers = [cover_by_odds(picture, odds, each) * here for each in (None, colours)]
    dice = (2 * ((c > 0.5) & own).sum() / ((c > 0.5).sum() + own.sum()) for c in covers)
    error = (float(c.sum() / share[here].sum()) - 1 for c in covers)
    return Judged(frame.species[number - 1], int(own.sum()), tuple(dice), tuple(error))


def bench_judged(frames: list[Shown], bench: int) -> Iterator[Judged]:
    """Every plant of a bench that is large enough in enough frames."""
    seen = [Seen(frame.picture, frame.odds) for frame in frames]
    for number in sorted({int(n) for frame in frames for n in np.unique(frame.numbers) if n}):
        large = [k for k, f in enumerate(frames) if (f.numbers == number).sum() > LEAST_PX]
        if len(large) < FEWEST_FRAMES:
            continue
        rng = np.random.default_rng([bench, number])
        order = rng.permutation(large)
        pairs = zip(order[:TAUGHT], (2, 1), strict=True)
        lessons = [lesson(frames[k], seen[k], number, plants, rng) for k, plants in pairs]
        colours = TrainedColours.learn(lessons)
        yield from (judged(frames[k], number, colours) for k in order[TAUGHT:])


def table(rows: list[Judged]) -> str:
    """A line a kind: without strokes and with them."""
    dice, error = (np.array([getattr(row, name) for row in rows]) for name in ("dice", "error"))
    kinds = {
        f"model below {POOR:.2f}": dice[:, 0] < POOR,
        "between": (dice[:, 0] >= POOR) & (dice[:, 0] <= GOOD),
        f"model above {GOOD:.2f}": dice[:, 0] > GOOD,
        "all": dice[:, 0] >= 0,
    }
    kinds |= {
        name: np.array([r.species == name for r in rows]) for r in rows for name in [r.species]
    }
    lines = [f"{'':18}{'cases':>7}{'mean Dice':>16}{'median error':>18}{'worse':>8}{'better':>8}"]
    for name, here in kinds.items():
        before, after = dice[here].mean(axis=0) if here.any() else (np.nan, np.nan)
        off = np.median(np.abs(error[here]), axis=0) if here.any() else (np.nan, np.nan)
        change = dice[here, 1] - dice[here, 0]
        lines.append(
            f"{name:18}{here.sum():7d}{before:8.3f} > {after:.3f}{off[0]:10.1%} > {off[1]:.1%}"
            f"{(change < -WORSE).mean():8.0%}{(change > WORSE).mean():8.0%}"
        )
    return "\n".join(lines)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--benches", type=Path, required=True)
    parser.add_argument("--model", type=Path)
    given = parser.parse_args()
    shipped = resources.files("lapsekit.vision").joinpath("canopy_model.json")
    model = CanopyModel.from_json((given.model or shipped).read_text("utf-8"))
    benches = defaultdict(list)
    for path in sorted(given.benches.glob("bench-*-?.npz")):
        benches[int(path.stem.split("-")[1])].append(path)
    rows = []
    for bench, paths in benches.items():
        rows += bench_judged([shown(path, model) for path in paths], bench)
        print(f"bench {bench}: {len(rows)} plants so far", flush=True)
    if not rows:
        raise SystemExit(f"{given.benches}: no plant is large enough in {FEWEST_FRAMES} frames")
    print(table(rows))


if __name__ == "__main__":
    main()
