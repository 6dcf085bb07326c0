"""How well proposed regions lie over the sample season's, by how many days were seen.

    python tests/bench/region_proposals.py [--season DIR] [--days 1 5 10 20 40 72] [--sheet PNG]

For each region of regions.toml the best overlap (intersection over union) of any proposal with its
outline on that day; those outlines were drawn by hand for the whole season, with room for what the
plants became. Beside it, of the true canopy in the season's last masks: how much of a plant lies in
the region that holds most of it (the camera was knocked by then: masks lie up to 10 px off). The
second table holds the containers that were seen against the true rims of the pots, as the
generator's camera sees them, and where leaves hide most of a rim, the day on which it was last
seen. The diary is not read unless --diary is given. Times are processor time; nothing of the
season's own outlines is given to what proposes.
"""

import argparse
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from lapsekit.proposing import Proposed, propose_regions
from lapsekit.season import Season
from lapsekit.trust import trust
from lapsekit.vision.regions import region_mask
from sample_frames.render.layout import View
from sample_frames.render.moment import bench_at
from sample_frames.render.story import day_time

NO_REGIONS = '[[region]]\nname = "bench"\ncamera = "bench"\n[[region.outline]]\nfrom = 2000-01-01\n'
KINDS = {"pot": (0, 0, 255), "row": (255, 120, 0), "cell": (255, 0, 255), "plant": (0, 220, 255)}


def overlap(one: np.ndarray, other: np.ndarray) -> float:
    """Intersection over union of two masks."""
    return np.count_nonzero(one & other) / max(1, np.count_nonzero(one | other))


def canopy_held(masks: list[np.ndarray], truth: Path, count: int) -> np.ndarray:
    """Per region, the share of its canopy in the best proposal, over the last twenty masks."""
    held, whole = np.zeros((count, len(masks))), np.zeros(count)
    for path in sorted(truth.glob("*.png"))[-20:]:
        labels = np.array(Image.open(path))  # a palette's numbers, which OpenCV would colour
        whole += np.bincount(labels.ravel(), minlength=count + 1)[1 : count + 1]
        for k, mask in enumerate(masks):
            held[:, k] += np.bincount(labels[mask], minlength=count + 1)[1 : count + 1]
    return held.max(axis=1) / np.maximum(whole, 1)


def rims(moment) -> dict[str, np.ndarray]:
    """True outlines (n, 2) of the round pots' rims at a moment, in px of the reference view."""
    around = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    found = {}
    for pot in bench_at(day_time(moment)):
        if pot.is_round:
            x, y = pot.half[0] * np.cos(around) + pot.x, pot.half[0] * np.sin(around) + pot.y
            points = np.stack([x, y, np.full_like(x, pot.height)], -1)
            found[pot.name] = View().project(points)[0]
    return found


def drawn(found: Proposed) -> np.ndarray:
    """The picture with what is proposed, BGR."""
    shown = found.picture[..., ::-1].copy()
    for proposal in found.proposals:
        colour = KINDS.get(proposal.kind, (255, 255, 255))
        cv2.polylines(shown, [np.int32(proposal.points)], True, colour, 2)
        if proposal.container:
            cv2.polylines(shown, [np.int32(proposal.container)], True, (255, 255, 0), 1)
    return shown


def held_against(true: dict[str, np.ndarray], found: Proposed, shape) -> dict[str, str]:
    """Best overlap of each true rim with a container; since when leaves hide that one."""
    seen = [
        (region_mask(shape, proposal.container), day)
        for proposal, day in zip(found.proposals, found.hidden, strict=True)
        if proposal.container
    ]
    told = {}
    for name, rim in true.items():
        mask = region_mask(shape, rim.tolist())
        best, day = max(((overlap(mask, one), day) for one, day in seen), key=lambda x: x[0])
        told[name] = f"{f'({day:%d %b}) ' if day else ''}{best:.2f}"
    return told


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--season", type=Path, default=Path("sample_frames"))
    parser.add_argument("--days", type=int, nargs="+", default=[1, 5, 10, 20, 40, 72])
    parser.add_argument("--sheet", type=Path)
    parser.add_argument("--diary", action="store_true", help="let it read the season's diary")
    given = parser.parse_args()
    true = Season(given.season).regions.region
    columns, sheets = {}, []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "season"
        folder.mkdir()
        trust(folder)
        (folder / "season.toml").write_text((given.season / "season.toml").read_text("utf-8"))
        (folder / "regions.toml").write_text(NO_REGIONS)
        if given.diary:
            (folder / "diary.csv").write_text((given.season / "diary.csv").read_text("utf-8"))
        (folder / "frames").symlink_to((given.season / "frames").resolve())
        season = Season(folder)
        season.index()
        days = season.catalogue.days_of_camera("bench")
        for count in given.days:
            spent = time.process_time()
            found = propose_regions(season, until=days[count - 1])
            spent = time.process_time() - spent
            shape = found.picture.shape[:2]
            masks = [region_mask(shape, p.points) for p in found.proposals]
            outlines = [region.outline_on(days[count - 1]).points for region in true]
            best = [max(overlap(region_mask(shape, o), m) for m in masks) for o in outlines]
            held = canopy_held(masks, given.season / "truth" / "masks", len(true))
            pots = held_against(rims(season.daily_at(days[count - 1])), found, shape)
            columns[count] = (best, held, pots, len(masks), spent)
            sheets.append(drawn(found))
    print(f"{'region':22}" + "".join(f"{f'day {count}':>14}" for count in columns))
    for number, region in enumerate(true):
        cells = (f"{best[number]:8.2f} {held[number]:5.0%}" for best, held, *_ in columns.values())
        print(f"{region.name:22}" + "".join(cells))
    print(f"{'proposed':22}" + "".join(f"{count:14}" for *_, count, _ in columns.values()))
    print(f"{'seconds':22}" + "".join(f"{spent:14.1f}" for *_, spent in columns.values()))
    print("overlap with the outline drawn by hand; share of the plant's last canopy within\n")
    print(f"{'pot':22}" + "".join(f"{f'day {count}':>14}" for count in columns))
    for name in next(iter(columns.values()))[2]:
        print(f"{name:22}" + "".join(f"{pots[name]:>14}" for _, _, pots, *_ in columns.values()))
    print("overlap of the container with the true rim; in brackets when a hidden one was seen")
    if given.sheet:
        cv2.imwrite(str(given.sheet), np.vstack(sheets))


if __name__ == "__main__":
    main()
