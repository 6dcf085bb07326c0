"""How exactly frames of a season are registered, against its true camera positions.

    python tests/prove_registration.py --season DIR [--every N] [--warps N] [--tag]

DIR is the rendered sample season (with truth/camera.csv and truth/frames.csv). Every frame is
registered to the first usable midday frame, as it is and after known warps (a shift to 60 px, a
turn to 3 degrees, a zoom to 2 %). The error is the distance between where the measured and the
true matrix put a point, over a grid of points across the picture. ``--tag`` gives the printed tag
to the registration, as a season with a tag would.
"""

import argparse
import csv
import time
import tomllib
from collections import defaultdict
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np

from lapsekit.vision.homographies import project
from lapsekit.vision.knocks import knocks
from lapsekit.vision.markers import find_tags
from lapsekit.vision.registration import NotRegistered, Reference, register

TURN = ("shift_x_px", "shift_y_px", "turn_deg")


def read_truth(season: Path):
    """Matrix and state of every frame that is there, by path, in order of time."""
    with (season / "truth/camera.csv").open() as file:
        matrices = {
            row["taken_at"]: np.array(
                [[float(row[f"m{r}{c}"]) for c in range(3)] for r in range(3)]
            )
            for row in csv.DictReader(file)
        }
    with (season / "truth/frames.csv").open() as file:
        rows = sorted(csv.DictReader(file), key=lambda row: row["taken_at"])
    return [
        (row["path"], datetime.fromisoformat(row["taken_at"]), row["state"],
         matrices[row["taken_at"]])
        for row in rows
        if row["taken_at"] in matrices and (season / row["path"]).exists()
    ]  # fmt: skip


def read_luma(path: Path):
    return cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)


def regions_of(season: Path, day, shape):
    """Mask of all regions' outlines, valid on that day."""
    with (season / "regions.toml").open("rb") as file:
        regions = tomllib.load(file)["region"]
    mask = np.zeros(shape, np.uint8)
    for region in regions:
        valid = [o for o in region["outline"] if o["from"] <= day]
        if valid:
            cv2.fillPoly(mask, [np.array(valid[-1]["points"], np.int32)], 1)
    return mask > 0


def random_warp(rng, shape):
    """A shift to 60 px, a turn to 3 degrees about the middle and a zoom to 2 %."""
    height, width = shape
    way, far = rng.uniform(0, 2 * np.pi), rng.uniform(0, 60)
    onto = cv2.getRotationMatrix2D(
        ((width - 1) / 2, (height - 1) / 2), rng.uniform(-3, 3), rng.uniform(0.98, 1.02)
    )
    onto[:, 2] += far * np.cos(way), far * np.sin(way)
    return np.vstack([onto, [0, 0, 1]])


def warped(luma, warp):
    """The picture moved by `warp`; what comes into view is a plain grey."""
    size = luma.shape[::-1]
    return cv2.warpPerspective(luma, warp, size, flags=cv2.INTER_LANCZOS4, borderValue=90)


def error_px(found, true, shape):
    """95th percentile over the picture of how far `found` puts points from their places."""
    height, width = shape
    grid = np.stack(np.meshgrid(np.linspace(0, width - 1, 9), np.linspace(0, height - 1, 7)), -1)
    off = project(found, grid) - project(true, grid)
    return float(np.quantile(np.linalg.norm(off, axis=-1), 0.95))


def prove(season: Path, every: int, warps: int, with_tag: bool):
    """Errors by state of frame, refusals, seconds for each frame."""
    frames = read_truth(season)
    path, _, _, true_reference = next(
        f for f in frames if f[2] == "usable" and f[1].hour == 11 and f[0] > frames[4][0]
    )
    luma = read_luma(season / path)
    tags_of = (lambda picture: find_tags(picture, "4X4_50")) if with_tag else (lambda _: ())
    reference = Reference(luma, tags=tags_of(luma))
    print(f"reference view: {path}, {len(reference.fine)} patches")
    rng = np.random.default_rng(0)
    rows = []
    guess = None
    for path, moment, state, true in frames[::every]:
        luma = read_luma(season / path)
        away = true @ np.linalg.inv(true_reference)
        for number in range(1 + warps):
            warp = np.eye(3) if number == 0 else random_warp(rng, luma.shape)
            picture = luma if number == 0 else warped(luma, warp)
            tags = tags_of(picture)
            began = time.perf_counter()
            found = register(picture, reference, guess=None if number else guess, tags=tags)
            spent = time.perf_counter() - began
            ok = not isinstance(found, NotRegistered)
            error = error_px(found.matrix, warp @ away, luma.shape) if ok else np.nan
            rows.append((state, number > 0, error, spent, found, path, moment))
            if ok and number == 0:
                guess = found.matrix
    return rows


def table(rows):
    groups = defaultdict(list)
    for row in rows:
        groups[row[1], row[0]].append(row)
    print(f"{'':28}{'frames':>7}{'refused':>8}{'median':>8}{'95 %':>8}{'worst':>8}{'ms':>7}")
    for (moved, state), group in sorted(groups.items(), key=lambda g: g[0]):
        errors = np.array([row[2] for row in group])
        kept = errors[np.isfinite(errors)]
        told = (
            [f"{q:8.3f}" for q in np.quantile(kept, (0.5, 0.95, 1))]
            if len(kept)
            else ["       -"] * 3
        )
        name = f"{'warped' if moved else 'as it is'}, {state}"
        spent = 1000 * np.median([row[3] for row in group])
        print(f"{name:28}{len(group):7d}{len(errors) - len(kept):8d}{''.join(told)}{spent:7.1f}")


def told_knocks(season: Path, rows):
    """The knocks found in the season as it is, beside the truth of the two frames."""
    plain = [row for row in rows if not row[1]]
    matrices = [None if isinstance(r[4], NotRegistered) else r[4].matrix for r in plain]
    with (season / "truth/camera.csv").open() as file:
        truth = {
            datetime.fromisoformat(r["taken_at"]): [float(r[k]) for k in TURN]
            for r in csv.DictReader(file)
        }
    shape = read_luma(season / plain[0][5]).shape
    for knock in knocks(matrices, shape):
        x, y, turn = np.subtract(truth[plain[knock.at][6]], truth[plain[knock.before][6]])
        print(
            f"knocked between {plain[knock.before][6]:%Y-%m-%d %H:%M} and "
            f"{plain[knock.at][6]:%Y-%m-%d %H:%M} UTC by {knock.size_px:.2f} px and "
            f"{knock.turn_deg:.3f} degrees (truth: {np.hypot(x, y):.2f} px, {turn:.3f} degrees)"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--season", type=Path, required=True)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--warps", type=int, default=1, help="warped copies of each frame")
    parser.add_argument("--tag", action="store_true")
    parser.add_argument("--list", action="store_true", help="one line for every frame")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    rows = prove(given.season, given.every, given.warps, given.tag)
    if given.list:
        for state, moved, error, _, found, path, _ in rows:
            what = getattr(found, "reason", "") or (
                f"{found.method} {found.numbers} numbers, {found.share:.0%}, "
                f"error {found.error_px:.3f}, residual {found.residual_px:.2f}"
            )
            print(path[-20:-4], state, "warped" if moved else "", f"{error:.3f}", what)
    table(rows)
    told_knocks(given.season, rows)


if __name__ == "__main__":
    main()
