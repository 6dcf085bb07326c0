"""From masks to the day's number, against the rendered sample season's exact truth.

    python tests/prove_days.py --season DIR [--from DATE] [--classifier] [--repeats N]

DIR holds the rendered season with its truth/ folder. Frames are brought to the reference view by
their true matrices, so that what is printed is the error of dividing, voting and stating alone:

1. areas of each region from perfect canopy masks, neighbours divided day by day;
2. with --classifier, the same from the covers of today's canopy model, and how far it sets edges
   off, in px, between plants and within a day;
3. vote, median and the published middle of the two, on masks with drawn-in mistakes;
4. how often stated intervals cover the truth, and how wide they are, under simulated errors.
"""

import argparse
import csv
import sys
from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from functools import lru_cache, partial
from pathlib import Path

import cv2
import numpy as np

CHECKOUT = Path(__file__).parent.parent
sys.path.insert(0, str(CHECKOUT))

from lapsekit.detail import detail_of  # noqa: E402
from lapsekit.ruler import load_model  # noqa: E402
from lapsekit.settings import CanopyTable, load_regions, load_settings  # noqa: E402
from lapsekit.vision.daily import EDGE_PX, Doubts, day_area, scatter, usual_scatter  # noqa: E402
from lapsekit.vision.day import edge_lengths, middle_cover, work_out  # noqa: E402
from sample_frames.render.layout import HEIGHT, WIDTH, View  # noqa: E402

PIXEL_CM2 = View().bench_area_cm2((HEIGHT, WIDTH))
PIXEL_CM = float(np.sqrt(np.median(PIXEL_CM2)))
LEAST_CM2 = 15.0


@dataclass(frozen=True, eq=False)
class Shot:
    """A usable frame with its matrix from the reference view."""

    path: Path
    taken_at: str
    day: date
    matrix: np.ndarray


class Season:
    """The sample season's truth, in the reference view."""

    def __init__(self, folder: Path, first: date):
        self.folder = folder
        self.regions = load_regions(
            folder / "regions.toml", load_settings(folder / "season.toml")
        ).region
        self.names = [r.name for r in self.regions]
        self.areas = {
            (r["taken_at"], r["region"]): float(r["area_cm2"]) for r in self._rows("areas")
        }
        matrices = {r["taken_at"]: self._matrix(r) for r in self._rows("camera")}
        self.days: dict[date, list[Shot]] = defaultdict(list)
        for row in self._rows("frames"):
            day, moment = date.fromisoformat(row["path"].split("/")[2]), row["taken_at"]
            if row["state"] == "usable" and day >= first:
                shot = Shot(folder / row["path"], moment, day, matrices[moment])
                self.days[day].append(shot)

    def _rows(self, name: str) -> list[dict[str, str]]:
        with (self.folder / "truth" / f"{name}.csv").open() as file:
            return list(csv.DictReader(file))

    @staticmethod
    def _matrix(row: dict[str, str]) -> np.ndarray:
        true = np.array([float(row[f"m{i}{j}"]) for i in range(3) for j in range(3)])
        return true.reshape(3, 3)

    def outlines(self, day: date) -> list:
        return [r.outline_on(day).points for r in self.regions]

    def mask_file(self, shot: Shot) -> Path:
        return self.folder / "truth" / "masks" / f"{shot.path.stem}.png"

    @lru_cache(maxsize=24)  # noqa: B019 - one season, for as long as the program runs
    def truth(self, shot: Shot) -> np.ndarray:
        return registered(_indexed(self.mask_file(shot)), shot, cv2.INTER_NEAREST)

    def masked(self, day: date) -> list[Shot]:
        return [s for s in self.days[day] if self.mask_file(s).exists()]

    def true_day(self, day: date, name: str) -> np.ndarray:
        return np.array([self.areas[s.taken_at, name] for s in self.days[day]])


def _indexed(path: Path) -> np.ndarray:
    from PIL import Image

    return np.array(Image.open(path))


def registered(picture: np.ndarray, shot: Shot, how: int) -> np.ndarray:
    """A picture or mask of a frame's view in the reference view."""
    return cv2.warpPerspective(
        picture, shot.matrix, (WIDTH, HEIGHT), flags=how | cv2.WARP_INVERSE_MAP
    )


def picture_of(shot: Shot) -> np.ndarray:
    return np.ascontiguousarray(cv2.imread(str(shot.path))[..., ::-1])


def walk(season: Season, cover_of) -> dict[str, list[tuple[date, float, float, bool]]]:
    """Work out day by day; (day, area, true area, touches a neighbour) of every masked frame."""
    found, before, last, outlines = defaultdict(list), None, None, None
    count = len(season.names)
    for day in season.days:
        shots = season.masked(day)
        if not shots:
            continue
        covers = [cover_of(s) for s in shots]
        middle = shots[len(shots) // 2]
        now = season.outlines(day)
        moved = [n for n, o in enumerate(now, 1) if outlines and o != outlines[n - 1]]
        gap = (day - last).days if last else 1
        told = work_out(
            covers, now, PIXEL_CM2, before,
            partial(registered, picture_of(middle), middle, cv2.INTER_LINEAR), gap, moved,
        )  # fmt: skip
        before, last, outlines = told.labels, day, now
        for shot, areas in zip(shots, told.areas, strict=True):
            true = np.bincount(season.truth(shot).ravel(), PIXEL_CM2.ravel(), count + 1)[1:]
            for name, a, t, how in zip(season.names, areas, true, told.standings, strict=True):
                found[name].append((day, a, t, bool(how.touches)))
    return found


def print_areas(found: dict, least_cm2: float) -> None:
    """Errors by region: all frames, and those in which it touches a neighbour."""
    heads = ("frames", "bias", "median", "p95", "largest", "touching", "largest")
    print(f"  {'region':20}" + "".join(f"{head:>10}" for head in heads))
    for name, rows in found.items():
        kept = [(a / t - 1, touching) for _, a, t, touching in rows if t > least_cm2]
        if not kept:
            continue
        error = np.array([e for e, _ in kept])
        size, meeting = np.abs(error), np.abs([e for e, touching in kept if touching])
        shares = [error.mean(), np.median(size), np.percentile(size, 95), size.max()]
        line = f"  {name:20}{size.size:>10}" + "".join(f"{100 * v:>9.2f}%" for v in shares)
        print(line + (f"{meeting.size:>10}{100 * meeting.max():>9.2f}%" if meeting.size else ""))


def print_edges(season: Season, found: dict) -> None:
    """How far the classifier sets edges off, as if all of the error lay along the edge."""
    print("  edges set off in px: mean over the season, and standard deviation within days")
    lengths = {}
    for day in season.days:
        if shots := season.masked(day):
            lengths[day] = edge_lengths(season.truth(shots[0]), len(season.names))
    for number, name in enumerate(season.names):
        off = defaultdict(list)
        for day, area, true, _ in found[name]:
            if true > 2 and lengths[day][number] > 0:
                off[day].append((area - true) / PIXEL_CM**2 / lengths[day][number])
        within = [np.var(v, ddof=1) for v in off.values() if len(v) > 1]
        if within:
            every = np.concatenate(list(off.values()))
            print(f"  {name:20}{every.mean():>+7.2f}{np.sqrt(np.mean(within)):>7.2f}")


def disturbed(mask: np.ndarray, sway_deg: float, rng: np.random.Generator) -> np.ndarray:
    """A mask as a classifier might give it: edges wander, a patch is missed or taken in."""
    size = mask.shape[::-1]
    centre = np.argwhere(mask).mean(0)[::-1]
    turn = cv2.getRotationMatrix2D(tuple(map(float, centre)), rng.normal(0, sway_deg), 1)
    turn[:, 2] += rng.normal(0, 0.2, 2)
    mask = cv2.warpAffine(mask.astype(np.uint8), turn, size, flags=cv2.INTER_NEAREST)
    inside = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    outside = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    noise = cv2.GaussianBlur(rng.normal(size=mask.shape), (0, 0), 3)
    depth = inside - outside - 0.5 * np.sign(inside - outside)
    found = depth + 0.6 * noise / noise.std() + rng.normal(0, 0.25) > 0
    if rng.random() < 0.2 and mask.any():
        place = tuple(map(int, rng.choice(np.argwhere(mask))[::-1]))
        radius = max(2, round(0.25 * float(np.sqrt(mask.sum() / np.pi))))
        patch = cv2.circle(np.zeros(mask.shape, np.uint8), place, radius, 1, -1) > 0
        found = found | patch if rng.random() < 0.5 else found & ~patch
    return found


def compare_middles(season: Season, frames: int, sway_deg: float) -> dict:
    """Errors of the vote, the median and what is published, by kind of plant."""
    rng, found = np.random.default_rng(1), defaultdict(list)
    for day in list(season.days)[::3]:
        shots = season.masked(day)
        for number, name in enumerate(season.names, 1):
            masks = (
                [season.truth(shots[i % len(shots)]) == number for i in range(frames)]
                if shots
                else []
            )
            true = np.median([PIXEL_CM2[m].sum() for m in masks]) if masks else 0
            if true <= LEAST_CM2:
                continue
            rows, columns = np.nonzero(np.logical_or.reduce(masks))
            box = np.s_[
                max(0, rows.min() - 12) : rows.max() + 12,
                max(0, columns.min() - 12) : columns.max() + 12,
            ]
            tried = [disturbed(m[box], sway_deg, rng) for m in masks]
            middle = middle_cover([t * np.uint8(255) for t in tried])
            vote = float((PIXEL_CM2[box] * middle).sum() / 255)
            areas = [float(PIXEL_CM2[box][m].sum()) for m in tried]
            day_value = day_area(areas, Doubts(), vote)
            kind = "thin leaves" if name == "chives" else "broad leaves"
            for what, value in (
                ("median", day_value.middle_cm2),
                ("vote", vote),
                ("published", day_value.area_cm2),
            ):
                found[kind, what].append(value / true - 1)
    return found


def simulate_intervals(season: Season, repeats: int, edge_px: float) -> list[tuple]:
    """(true area, covered, half-width share, error share) under biased, noisy segmentation.

    Each plant has a bias of its own, alike in all frames (2 % standard deviation, so 1 to 3 %
    for most), edges set off alike in all frames, and 1 to 2 % of noise in each frame.
    """
    rng, rows = np.random.default_rng(7), []
    lengths = {
        d: edge_lengths(season.truth(s[0]), len(season.names)) * PIXEL_CM
        for d in season.days
        if (s := season.masked(d))
    }
    for _ in range(repeats):
        for number, name in enumerate(season.names):
            bias, noise = rng.normal(0, 0.02), rng.uniform(0.01, 0.02)
            off_cm, earlier = rng.normal(0, edge_px) * PIXEL_CM, []
            for day, length in lengths.items():
                true = season.true_day(day, name)
                if np.median(true) <= 0.5:
                    continue
                seen = true * (1 + bias) * rng.normal(1, noise, true.size) + off_cm * length[number]
                seen = np.maximum(seen, 0)
                doubts = Doubts(
                    edge_cm=length[number], pixel_cm=PIXEL_CM, scale_share=0.001,
                    usual_share=usual_scatter(earlier[-14:]),
                )  # fmt: skip
                value = day_area(seen, doubts, float(seen.mean()))
                earlier.append(scatter(seen))
                middle = float(np.median(true))
                rows.append(
                    (
                        middle,
                        value.low_cm2 <= middle <= value.high_cm2,
                        value.parts.together / middle,
                        abs(value.area_cm2 / middle - 1),
                    )
                )
    return rows


def print_intervals(rows: list[tuple]) -> None:
    table = np.array(rows, float)
    for label, low, high in (
        ("over 15 cm²", 15, np.inf),
        ("2 to 15 cm²", 2, 15),
        ("under 2 cm²", 0, 2),
    ):
        part = table[(table[:, 0] > low) & (table[:, 0] <= high)]
        if len(part):
            print(
                f"  {label:14}{len(part):>8} region-days, covered {part[:, 1].mean():.1%}, "
                f"median half-width {np.median(part[:, 2]):.1%}, "
                f"median error {np.median(part[:, 3]):.1%}"
            )


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--season", type=Path, required=True)
    parser.add_argument("--from", dest="first", type=date.fromisoformat, default=date.min)
    parser.add_argument("--classifier", action="store_true")
    parser.add_argument("--repeats", type=int, default=5)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    season = Season(given.season, given.first)
    print("1. perfect masks, frames with more than 2 cm² of the region")
    print_areas(walk(season, lambda shot: (season.truth(shot) > 0) * np.uint8(255)), 2.0)
    if given.classifier:
        model = load_model(CanopyTable())

        def found_by_model(shot: Shot) -> np.ndarray:
            picture = picture_of(shot)
            detail = detail_of(shot.path.read_bytes(), picture)
            share = np.rint(255 * model.cover(picture, detail=detail)).astype(np.uint8)
            return registered(share, shot, cv2.INTER_LINEAR)

        print("2. covers of today's canopy model")
        found = walk(season, found_by_model)
        print_areas(found, 2.0)
        print_edges(season, found)
    print("3. the middle of a day, on masks with drawn-in mistakes")
    for frames, sway in ((3, 0.0), (5, 0.0), (5, 3.0)):
        for (kind, what), errors in compare_middles(season, frames, sway).items():
            e = np.array(errors)
            shares = (e.mean(), np.median(abs(e)), np.percentile(abs(e), 95))
            text = "bias {:+.1%}, median {:.2%}, p95 {:.1%}".format(*shares)
            print(f"  {frames} frames, sway {sway:g}°, {kind:13}{what:10} {text}")
    for edge_px in (0.0, EDGE_PX):
        print(f"4. stated intervals; bias 2 %, noise 1 to 2 %, edges set off by {edge_px:.2f} px")
        print_intervals(simulate_intervals(season, given.repeats, edge_px))


if __name__ == "__main__":
    main()
