"""How large errors of area are, beside what the canopy model doubts and what hangs on colours.

    python tests/fit_doubt.py --benches DIR [--model FILE] [--data DIR]

DIR holds benches that ``tests/render_training_frames.py`` made and the model has not seen (`KEPT`
in ``tests/train_second_look.py``). What is found within 12 px of a plant's
true pixels, and nearer to them than to another plant's, counts for it; frames with a visitor are
left out. Errors of plants of 4 cm² and more are explained by a standard deviation that is the root
of the sum of squares of four shares: of the plant's area, of what was in doubt, of the length of
its edge times 1 px, and of what comes or goes where colours are fainter; by the greatest likelihood
of Student's t with four degrees of freedom, which a few wild errors do not move. Then errors are
told by species and by how fine the picture is: small leaves want many pixels.

With field-wheat in --data (doi:10.3929/ethz-b-000512332, CC BY-SA 4.0), its photographs of plots
that the first held-out model has not seen are judged by that model, each as one plant. Hands draw
every pixel with some leaf, so that what the model leaves out on purpose counts among its errors.
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

from lapsekit.photographs import read_photographs
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.daily import FADED_SHARE, UNSURE_SHARE
from lapsekit.vision.fading import faded_share, near_canopy

HELD_OUT = Path(__file__).resolve().parents[1] / "sample_frames" / "held_out" / "plots-1.json"

LEAST_CM2, SHOWN_CM2 = 4.0, 15.0
FREEDOM = 4
SCALES = (0.6, 1.4)
FINENESS, FEWEST = (4, 6, 9, 13, 20), 10
VIEWS = 2


@dataclass(frozen=True)
class Plant:
    """One plant in one view.

    Found and true area, doubt, length of edge, and what hangs on how strong colours are, in px.
    """

    found: float
    true: float
    doubt: float
    edge: float
    faded: float
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
        plain, faint = model.fading(picture, detail=detail)
        around = near_canopy(np.rint(255 * cover).astype(np.uint8))
        edge = edge_of(cover)
        for number in np.unique(fine[fine > 0]):
            true = float((fine == number).sum()) / 9 * scale**2
            here = zone == number
            sums = [float(each[here].sum()) for each in (cover, doubt, edge)]
            near = here & around
            faded = sums[0] * faded_share(plain[near], faint[near])
            fineness, kind = px_per_cm * scale, species[number - 1]
            cm2 = true / fineness**2
            found.append(Plant(sums[0], true, *sums[1:], faded, cm2, fineness, kind))
    return found


def edge_of(cover: np.ndarray) -> np.ndarray:
    """Pixels of canopy beside others."""
    return (cover > 0.5) & (cv2.erode((cover > 0.5).astype(np.uint8), np.ones((3, 3))) == 0)


def photographed_plots(data: Path) -> list[Plant]:
    """Photographs of plots that the first held-out model has not seen, each as one plant."""
    model = CanopyModel.from_json(HELD_OUT.read_text("utf-8"))
    unseen, found = set(model.record["held_out_plots"]), []
    for photograph in read_photographs(data):
        if photograph.plot not in unseen:
            continue
        cover, doubt = model.cover_and_doubt(photograph.picture)
        near = near_canopy(np.rint(255 * cover).astype(np.uint8))
        faded = faded_share(*(each[near] for each in model.fading(photograph.picture)))
        sums = [float(each.sum()) for each in (cover, photograph.mask, doubt, edge_of(cover))]
        found.append(Plant(*sums, faded * sums[0], np.inf, np.nan, "wheat"))
    return found


def hidden(path: Path) -> bool:
    """Whether a visitor stands in the frame, which screening would leave out."""
    bench, frame = map(int, path.stem.split("-")[1:])
    return (bench + frame) % 4 == 3


def fit(plants: list[tuple[Plant, float]]) -> np.ndarray:
    """Shares of area, doubt, edge and what fades, of plants with weights: (4,)."""
    fair = [(p, w) for p, w in plants if p.cm2 >= LEAST_CM2 and p.found > 0.1 * p.true]
    large, weights = zip(*fair, strict=True)
    errors = np.array([p.found - p.true for p in large])
    parts = np.array([[p.found, p.doubt, p.edge, p.faded] for p in large]) ** 2

    def unlikely(logs):
        square = parts @ np.exp(2 * logs)
        wild = (FREEDOM + 1) / 2 * np.log1p(errors**2 / square / FREEDOM)
        return np.dot(weights, np.log(square) / 2 + wild)

    starts = np.log([[0.01, 0.1, 0.05, 1], [0.003, 0.3, 0.01, 2], [0.02, 0.02, 0.1, 0.3]])
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
    parser.add_argument("--data", type=Path, help="folder that contains field-wheat")
    given = parser.parse_args()
    shipped = resources.files("lapsekit.vision").joinpath("canopy_model.json")
    model = CanopyModel.from_json((given.model or shipped).read_text("utf-8"))
    paths = [p for p in sorted(given.benches.glob("bench-*.npz")) if not hidden(p)]
    plants = [plant for path in paths for plant in plants_of(path, model)]
    kinds = {"rendered plants": plants}
    if given.data:
        kinds["photographs"] = photographed_plots(given.data)
    for name, some in kinds.items():
        print(f"{len(some)} {name}")
    print("standard deviation of an area's error, root of the sum of squares of")
    for each in (["rendered plants"], *([list(kinds)] if given.data else [])):
        shares = fit([(p, 1 / len(kinds[name])) for name in each for p in kinds[name]])
        told = zip(shares, ("area", "doubt", "edge (1 px)", "faded part"), strict=True)
        print("  " + ", ".join(f"{s:.4f} of its {n}" for s, n in told) + f" ({', '.join(each)})")
    for name, some in kinds.items():
        shown = [p for p in some if p.cm2 >= SHOWN_CM2]
        for doubt, faded in ((0.26, 0.0), (0.0, FADED_SHARE), (UNSURE_SHARE, FADED_SHARE)):
            halves = [1.96 * np.hypot(doubt * p.doubt, faded * p.faded) for p in shown]
            held = np.mean([abs(p.found - p.true) <= h for p, h in zip(shown, halves, strict=True)])
            half = np.median([h / p.found for p, h in zip(shown, halves, strict=True)])
            print(
                f"{name}, {doubt} of the doubt and {faded} of what fades: {held:.0%} within, "
                f"half-width {half:.1%}"
            )
    print(*by_fineness(plants), sep="\n")


if __name__ == "__main__":
    main()
