"""How large errors of area are, as a share of what the canopy model was in doubt of.

    python tests/fit_doubt.py --benches DIR [--model FILE]

DIR holds benches that ``tests/render_training_frames.py`` made and the model has not seen (`KEPT`
in ``tests/train_second_look.py``). What is found within 12 px of a plant's
true pixels, and nearer to them than to another plant's, counts for it; frames with a visitor are
left out. Errors of plants of 4 cm² and more are explained by a standard deviation that is the root
of the sum of squares of three shares: of the plant's area, of what was in doubt, and of the length
of its edge times 1 px; by the greatest likelihood of Student's t with four degrees of freedom,
which a few wild errors do not move. Then errors are told by species and by how fine the picture is:
small leaves want many pixels.
"""

import argparse
from dataclasses import dataclass
from importlib import resources
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from prove_canopy import zones
from scipy.optimize import minimize
from training_pictures import photographed

from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.daily import UNSURE_SHARE

LEAST_CM2, SHOWN_CM2 = 4.0, 15.0
FREEDOM = 4
SCALES = (0.6, 1.4)
FINENESS, FEWEST = (4, 6, 9, 13, 20), 10
VIEWS = 2


@dataclass(frozen=True)
class Plant:
    """One plant in one view: found and true area, doubt and length of edge, in px."""

    found: float
    true: float
    doubt: float
    edge: float
    cm2: float
    px_per_cm: float
    species: str


def plants_of(path: Path, model: CanopyModel) -> list[Plant]:
    """Every plant of a bench in views of two scales."""
    with np.load(path, allow_pickle=True) as stored:
        light, fine = stored["light"].astype(np.float32), stored["plant"]
        px_per_cm, species = float(stored["px_per_cm"]), [str(s) for s in stored["species"]]
    found = []
    for view in range(VIEWS):
        rng = np.random.default_rng([7, *map(int, path.stem.split("-")[1:]), view])
        scale = float(np.exp(rng.uniform(*np.log(SCALES))))
        size = (round(light.shape[1] * scale), round(light.shape[0] * scale))
        way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        small = np.clip(cv2.resize(light, size, interpolation=way), 0, None)
        picture, detail = photographed(np.ascontiguousarray(small), rng)
        cover, doubt = model.cover_and_doubt(picture, detail=detail)
        zone = zones(cv2.resize(fine, size, interpolation=cv2.INTER_NEAREST))
        edge = (cover > 0.5) & (cv2.erode((cover > 0.5).astype(np.uint8), np.ones((3, 3))) == 0)
        for number in np.unique(fine[fine > 0]):
            true = float((fine == number).sum()) / 9 * scale**2
            here = zone == number
            sums = (float(each[here].sum()) for each in (cover, doubt, edge))
            covered, unsure, around = sums
            fineness, kind = px_per_cm * scale, species[number - 1]
            found.append(Plant(covered, true, unsure, around, true / fineness**2, fineness, kind))
    return found


def hidden(path: Path) -> bool:
    """Whether a visitor stands in the frame, which screening would leave out."""
    bench, frame = map(int, path.stem.split("-")[1:])
    return (bench + frame) % 4 == 3


def fit(plants: list[Plant]) -> np.ndarray:
    """Shares of area, doubt and edge: (3,)."""
    large = [p for p in plants if p.cm2 >= LEAST_CM2 and p.found > 0.1 * p.true]
    errors = np.array([p.found - p.true for p in large])
    parts = np.array([[p.found, p.doubt, p.edge] for p in large]) ** 2

    def unlikely(logs):
        square = parts @ np.exp(2 * logs)
        return np.sum(
            np.log(square) / 2 + (FREEDOM + 1) / 2 * np.log1p(errors**2 / square / FREEDOM)
        )

    starts = np.log([[0.01, 0.1, 0.05], [0.003, 0.3, 0.01], [0.02, 0.02, 0.1]])
    options = {"maxiter": 4000}
    tried = [minimize(unlikely, s, method="Nelder-Mead", options=options) for s in starts]
    return np.exp(min(tried, key=lambda one: one.fun).x)


def by_fineness(plants: list[Plant]) -> list[str]:
    """Median error of area, and median size of errors, of species in coarse and fine pictures."""
    large = [p for p in plants if p.cm2 >= LEAST_CM2]
    bounds = list(pairwise(FINENESS))
    heads = "".join(f"{f'{low:g} to {high:g} px/cm':>26}" for low, high in bounds)
    lines = [f"{'plants of 4 cm2 and more':26}{heads}"]
    for species in sorted({p.species for p in large}):
        cells = ""
        for low, high in bounds:
            mine = [p for p in large if p.species == species and low <= p.px_per_cm < high]
            told = "-"
            if len(mine) >= FEWEST:
                errors = np.array([p.found / p.true - 1 for p in mine])
                told = f"{np.median(errors):+.1%}, {np.median(abs(errors)):.1%} of {len(mine)}"
            cells += f"{told:>26}"
        lines.append(f"{species:26}{cells}")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--benches", required=True, type=Path)
    parser.add_argument("--model", type=Path, help="default: the shipped one")
    given = parser.parse_args()
    shipped = resources.files("lapsekit.vision").joinpath("canopy_model.json")
    model = CanopyModel.from_json((given.model or shipped).read_text("utf-8"))
    paths = [p for p in sorted(given.benches.glob("bench-*.npz")) if not hidden(p)]
    plants = [plant for path in paths for plant in plants_of(path, model)]
    shares = fit(plants)
    print(f"{len(plants)} plants; standard deviation of an area's error, root of sum of squares of")
    for name, share in zip(("area", "doubt", "edge (1 px)"), shares, strict=True):
        print(f"  {share:7.4f} of its {name}")
    shown = [p for p in plants if p.cm2 >= SHOWN_CM2]
    for share in (UNSURE_SHARE, 0.35, 0.45):
        held = [abs(p.found - p.true) <= 1.96 * share * p.doubt for p in shown]
        half = np.median([1.96 * share * p.doubt / p.true for p in shown])
        print(f"with {share} of the doubt alone: {np.mean(held):.1%} within, half-width {half:.1%}")
    print(*by_fineness(plants), sep="\n")


if __name__ == "__main__":
    main()
