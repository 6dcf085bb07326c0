"""How many doubtful pixels are leaf, by how their colour differs from the ground that lay there.

    python tests/fit_known_ground.py --season DIR --truth DIR

--season is a measured season folder of --truth, the sample season or one that
``tests/render_other_season.py`` made (``lapsekit prove --frames TRUTH --folder SEASON`` makes it).
Pixels in doubt (log odds within 1.5) away from sure leaf, on ground that the reference frame shows
bare, are counted by the change of ln G - ln R (rows: towards green and away from it) and of
ln G - ln B (columns). Printed is by how much the log odds of being leaf, counted in the true masks,
lie above those stated: what `lapsekit.vision.known_ground` takes off is drawn from this table.
"""

import argparse
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from lapsekit.ruler import Ruler
from lapsekit.sample import has_true_shapes, true_shapes
from lapsekit.season import Season
from lapsekit.viewing import matrix_of
from lapsekit.vision.canopy import shares_of
from lapsekit.vision.edges import window
from lapsekit.vision.known_ground import BESIDE_PX, SURE

DOUBT, FEWEST = 1.5, 80
REDDER = (-0.5, -0.3, -0.22, -0.16, -0.12, -0.08, -0.04, 0, 0.04, 0.08, 0.12, 0.16, 0.22, 0.3)
BLUER = (-0.6, -0.2, -0.1, -0.04, 0.04, 0.1, 0.2, 0.6)


def pixels_of(season: Season, truth: Path, every: int) -> np.ndarray:
    """Stated odds, whether it is leaf, and both changes of colour: (n, 4)."""
    ruler, found = Ruler(season), []
    for camera in season.settings.cameras:
        known, view = ruler.grounds.of(camera), ruler.views[camera]
        placed = {frame.path: place for frame, place in season.catalogue.placements(camera)}
        frames = [
            frame
            for frame, screening in season.catalogue.screenings(camera)
            if not screening.reasons and frame.path in placed and has_true_shapes(truth, frame)
        ]
        for frame in frames[::every] if known is not None else ():
            picture, detail = ruler.read(frame)
            matrix = matrix_of(placed[frame.path])
            lit = view.in_its_light(picture, matrix)
            odds, changed = ruler.model.odds(lit, detail), known.changed(lit, matrix)
            beside = cv2.dilate((odds > SURE).astype(np.uint8), window(BESIDE_PX)) > 0
            asked = np.flatnonzero((np.abs(odds) < DOUBT) & ~beside & np.isfinite(changed[..., 0]))
            leaf = true_shapes(truth, frame).ravel()[asked] > 0
            rows = odds.ravel()[asked], leaf, *changed.reshape(-1, 2)[asked].T
            found.append(np.column_stack(rows))
    return np.concatenate(found)


def table(pixels: np.ndarray) -> list[str]:
    """Lines: by how much true log odds lie above those stated, and of how many pixels."""
    odds, leaf, red, blue = pixels.T
    lines = [" " * 7 + "".join(f"{low:>+14.2f}" for low in BLUER[:-1])]
    for low, high in pairwise(REDDER):
        cells = ""
        for least, most in pairwise(BLUER):
            here = (red >= low) & (red < high) & (blue >= least) & (blue < most)
            told = "-"
            if here.sum() >= FEWEST:
                pair = (each[here].mean() for each in (leaf, shares_of(odds)))
                true, stated = (np.clip(each, 0.005, 0.995) for each in pair)
                told = f"{np.log(true / (1 - true) * (1 - stated) / stated):+.1f} of {here.sum()}"
            cells += f"{told:>14}"
        lines.append(f"{low:+7.2f}{cells}")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--season", required=True, type=Path)
    parser.add_argument("--truth", required=True, type=Path)
    parser.add_argument("--every", type=int, default=4, help="of how many frames one is looked at")
    given = parser.parse_args()
    print(*table(pixels_of(Season(given.season), given.truth, given.every)), sep="\n")


if __name__ == "__main__":
    main()
