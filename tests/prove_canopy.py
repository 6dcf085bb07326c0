"""How well canopy is found on a rendered season whose truth is known to the pixel.

    python tests/prove_canopy.py --season DIR [--model FILE] [--every N] [--colours FILE] [--mask]

DIR holds frames/, regions.toml and truth/ as the sample season does. No registration, no scale and
no outline is involved: what is found within 12 px of a plant's true pixels, and nearer to them than
to another plant's, is counted for that plant; the rest of the frame counts as false. Areas are
compared with the exact ones of truth/areas.csv, which know parts of pixels.
"""

import argparse
import csv
import time
import tomllib
from collections import defaultdict
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from lapsekit.detail import detail_of
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.pictures import decode
from lapsekit.vision.strokes import read_strokes
from lapsekit.vision.trained_colours import Lesson, Seen, TrainedColours

REACH_PX = 12
LEAST_CM2 = 15.0
STATES = ("usable",)


def read_season(season: Path, every: int):
    """Yield name, picture, detail, true mask and {region: (number, px, cm²)} of frames."""
    regions = tomllib.loads((season / "regions.toml").read_text("utf-8"))["region"]
    numbers = {each["name"]: number for number, each in enumerate(regions, 1)}
    areas = defaultdict(dict)
    with (season / "truth" / "areas.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            found = numbers[row["region"]], float(row["area_px"]), float(row["area_cm2"])
            areas[row["taken_at"]][row["region"]] = found
    with (season / "truth" / "frames.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["state"] in STATES]
    with_mask = []
    for row in rows:
        mask = season / "truth" / "masks" / f"{Path(row['path']).stem}.png"
        if mask.exists() and (season / row["path"]).exists():
            with_mask.append((row, mask))
    for row, mask in with_mask[::every]:
        data, truth = (season / row["path"]).read_bytes(), np.array(Image.open(mask))
        picture = decode(data)
        yield row["path"], picture, detail_of(data, picture), truth, areas[row["taken_at"]]


def zones(truth: np.ndarray) -> np.ndarray:
    """The number of the plant that a pixel counts for, 0 beyond `REACH_PX` of any."""
    away, index = cv2.distanceTransformWithLabels(
        (truth == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    number_of = np.zeros(index.max() + 1, truth.dtype)
    number_of[index[truth > 0]] = truth[truth > 0]
    return np.where(away <= REACH_PX, number_of[index], 0)


def measure(cover: np.ndarray, truth: np.ndarray, areas: dict) -> tuple[dict, float]:
    """Per region (Dice, relative error, true cm²), and the share of false cover elsewhere."""
    zone = zones(truth)
    result = {}
    for name, (number, px, cm2) in areas.items():
        if px < 1:
            continue
        inside = zone == number
        mask, plant = cover[inside] > 0.5, truth[inside] == number
        dice = 2 * (mask & plant).sum() / max(1, mask.sum() + plant.sum())
        result[name] = float(dice), float(cover[inside].sum() / px - 1), cm2
    return result, float(cover[zone == 0].sum() / cover.size)


def table(found: dict, least_cm2: float) -> str:
    """One line a region: frames, Dice, and the relative error of its area."""
    lines = [f"{'':22}{'frames':>7}{'Dice':>8}{'IoU':>8}{'bias':>8}{'median':>8}{'95th':>8}"]
    lines[0] += "   (error of the area)"

    def line(name, rows):
        dice, error = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
        middle = np.median(dice)
        return (
            f"{name:22}{len(rows):7d}{middle:8.3f}{middle / (2 - middle):8.3f}"
            f"{np.median(error):+8.1%}{np.median(abs(error)):8.1%}"
            f"{np.quantile(abs(error), 0.95):8.1%}"
        )

    groups = defaultdict(list)
    for name, rows in found.items():
        key = name.rsplit("-", 1)[0] if name[-1].isdigit() else name
        groups[key] += rows
    for name, rows in groups.items():
        large = [row for row in rows if row[2] >= least_cm2]
        small = [row for row in rows if 1 <= row[2] < least_cm2]
        if large:
            lines.append(line(name, large))
        if small:
            lines.append(line(f"  {name}, 1-15", small))
    large = [row for rows in groups.values() for row in rows if row[2] >= least_cm2]
    lines.append(line(f"all above {least_cm2:g} cm2", large))
    return "\n".join(lines)


def taught(season: Path, colours: Path, model: CanopyModel) -> tuple[TrainedColours, set[str]]:
    """What a colours.csv teaches, and the frames it was drawn on."""
    strokes = read_strokes(colours.read_text("utf-8"))
    frames = {stroke.frame for stroke in strokes}
    lessons = []
    for frame in sorted(frames):
        data = (season / frame).read_bytes()
        picture, here = decode(data), tuple(stroke for stroke in strokes if stroke.frame == frame)
        odds = model.odds(picture, detail_of(data, picture))
        lessons.append(Lesson(Seen(picture, odds), here))
    return TrainedColours.learn(lessons), frames


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--season", required=True, type=Path)
    parser.add_argument("--model", type=Path, help="default: the shipped one")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument(
        "--mask", action="store_true", help="count the mask, which knows no strokes, not the cover"
    )
    parser.add_argument("--colours", type=Path, help="strokes; their frames' days are left out")
    given = parser.parse_args()
    shipped = resources.files("lapsekit.vision").joinpath("canopy_model.json")
    model = CanopyModel.from_json((given.model or shipped).read_text("utf-8"))
    colours, learned = (
        taught(given.season, given.colours, model) if given.colours else (None, set())
    )
    days = {Path(frame).parent.name for frame in learned}
    found, false, spent = defaultdict(list), [], []
    for path, picture, detail, truth, areas in read_season(given.season, given.every):
        if Path(path).parent.name in days:
            continue
        began = time.process_time()
        if given.mask:
            cover = model.mask(picture, detail).astype(np.float32)
        else:
            cover = model.cover(picture, colours, detail)
        spent.append(time.process_time() - began)
        regions, elsewhere = measure(cover, truth, areas)
        false.append(elsewhere)
        for name, row in regions.items():
            found[name].append(row)
    print(table(found, LEAST_CM2))
    print(
        f"{len(false)} frames; false cover elsewhere: median {np.median(false):.3%}, most "
        f"{max(false):.3%}; {1e3 * np.median(spent):.0f} ms a frame"
    )


if __name__ == "__main__":
    main()
