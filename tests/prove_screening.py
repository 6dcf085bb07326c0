"""Screening on a season of known truth, and on its frames spoilt in every way we could think of.

    python tests/prove_screening.py --season DIR [--runs 8] [--data DIR] [--json]

DIR is a season folder with truth/frames.csv (path, taken_at, state). Printed: the season's own
mishaps; good frames spoilt one in twelve (each run another choice) and judged with their whole
season; and visitors in the newest frame, when nothing after it can help. With --data, the
field-wheat photographs as a season of frames that have little in common: nothing there stands
before the camera.
"""

import argparse
import csv
import json
from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import cv2
import numpy as np
import spoiling

from lapsekit.settings import load_settings
from lapsekit.vision.figures import Figures, figures_of
from lapsekit.vision.pictures import decode
from lapsekit.vision.screening import Seen, judge

KINDS = ("arm", "hand", "hat", "trowel", "can")
EVERY, BEFORE_NEWEST = 12, 80


@dataclass
class Known:
    """A season with its truth."""

    folder: Path
    paths: list[str]
    states: list[str]
    seen: list[Seen]

    def picture(self, number):
        return decode((self.folder / self.paths[number]).read_bytes())


def load(folder: Path) -> Known:
    """Figures of all frames of the season."""
    zone = ZoneInfo(load_settings(folder / "season.toml").season.time_zone)
    with (folder / "truth" / "frames.csv").open() as file:
        rows = list(csv.DictReader(file))
    known = Known(folder, [r["path"] for r in rows], [r["state"] for r in rows], [])
    for number, row in enumerate(rows):
        at = datetime.fromisoformat(row["taken_at"]).astimezone(zone)
        known.seen.append(Seen(at, figures_of(known.picture(number))))
    return known


def visitor(picture, rng):
    """A picture with somebody in it, and what; never less than 0.4 % of the picture."""
    while True:
        kind = str(rng.choice(KINDS))
        cloth = str(rng.choice(list(spoiling.CLOTHS)))
        found, share = spoiling.visited(picture, rng, kind, cloth, rng.uniform(0.01, 0.75))
        if share >= 0.004:
            size = "0.4-1 %" if share < 0.01 else "1-3 %" if share < 0.03 else "3 % and more"
            return found, f"visitor {size}", f"{kind}, {cloth}, {share:.1%}"


def spoilt(known: Known, number: int, rng) -> tuple[Figures, str, str]:
    """Figures of a frame spoilt in some way, the group it counts in, and details."""
    picture = known.picture(number)
    way = str(rng.choice(list(WAYS), p=np.array(list(WAYS.values())) / sum(WAYS.values())))
    if way == "visitor":
        picture, group, details = visitor(picture, rng)
        return figures_of(picture), group, details
    amount = 0.0
    if way == "blurred":
        amount = rng.uniform(1.5, 8)
        picture = spoiling.blurred(picture, amount)
    elif way == "shaken":
        amount = rng.uniform(7, 25)
        picture = spoiling.shaken(picture, int(amount), rng.uniform(0, 180))
    elif way == "dew":
        amount = rng.uniform(0.4, 1)
        picture = spoiling.bedewed(picture, rng, amount)
    elif way == "haze":
        amount = rng.uniform(0.15, 0.6)
        picture = spoiling.hazed(picture, amount)
    elif way == "glare":
        amount = rng.uniform(0.05, 0.15)
        picture = spoiling.glared(picture, rng, amount)
    elif way == "too dark":
        amount = 2 ** -rng.uniform(3.5, 8)
        picture = spoiling.exposed(picture, amount)
    elif way == "too bright":
        amount = 2 ** rng.uniform(2, 4)
        picture = spoiling.exposed(picture, amount)
    elif way == "frozen":
        amount = float(rng.choice([75, 80, 85, 90, 95]))
        other = max(0, number - int(rng.integers(1, 4)))
        return figures_of(spoiling.as_jpeg(known.picture(other), int(amount))), way, f"q{amount:g}"
    return figures_of(spoiling.as_jpeg(picture)), way, f"{amount:.3g}"


WAYS = {"visitor": 12, "blurred": 2, "shaken": 1, "dew": 2, "haze": 1, "glare": 2, "too dark": 1,
        "too bright": 1, "frozen": 1}  # fmt: skip


def own_mishaps(known: Known) -> dict:
    """What screening makes of the season as it is."""
    verdicts = judge(known.seen)
    bad = [s != "usable" for s in known.states]
    out = [v.reason is not None for v in verdicts]
    return {
        "table": Counter(
            (s, v.reason or "used") for s, v in zip(known.states, verdicts, strict=True)
        ),
        "bad": sum(bad),
        "bad_left_out": sum(b and o for b, o in zip(bad, out, strict=True)),
        "good": bad.count(False),
        "good_lost": sum(o and not b for b, o in zip(bad, out, strict=True)),
        "lost": [
            (known.paths[i], v.told) for i, v in enumerate(verdicts) if v.reason and not bad[i]
        ],
    }


def spoilt_runs(known: Known, runs: int) -> dict:
    """Spoil one frame in twelve and judge the whole season, `runs` times."""
    caught, missed, lost = Counter(), [], []
    total = Counter()
    for run in range(runs):
        rng = np.random.default_rng([7, run])
        seen, marks = list(known.seen), {}
        for number in range(run % EVERY + 3, len(seen), EVERY):
            if known.states[number] == "usable":
                figures, group, details = spoilt(known, number, rng)
                seen[number] = Seen(seen[number].at, figures)
                marks[number] = (group, details)
        for number, verdict in enumerate(judge(seen)):
            if number in marks:
                group, details = marks[number]
                total[group] += 1
                caught[group] += verdict.reason is not None
                if verdict.reason is None:
                    missed.append((run, known.paths[number], group, details))
            elif known.states[number] == "usable":
                total["good frames beside them"] += 1
                caught["good frames beside them"] += verdict.reason is not None
                if verdict.reason:
                    lost.append((run, known.paths[number], verdict.told))
    return {"total": total, "caught": caught, "missed": missed, "lost": lost}


def newest(known: Known, count: int) -> dict:
    """Visitors in the newest frame, and good newest frames, with nothing after them."""
    rng = np.random.default_rng(11)
    good = [i for i, s in enumerate(known.states) if s == "usable" and i >= 12]
    caught = lost = 0
    missed = []
    for number in rng.choice(good, count, replace=False):
        before = known.seen[max(0, number - BEFORE_NEWEST) : number]
        lost += judge([*before, known.seen[number]])[-1].reason is not None
        picture, group, details = visitor(known.picture(number), rng)
        verdict = judge([*before, Seen(known.seen[number].at, figures_of(picture))])[-1]
        caught += verdict.reason is not None
        if verdict.reason is None:
            missed.append((known.paths[number], group, details))
    return {"frames": count, "visitors_caught": caught, "good_held_back": lost, "missed": missed}


def photographs(data: Path) -> dict:
    """Each wheat plot as a camera of its own, in order of date."""
    plots: dict[str, list[Seen]] = {}
    for path in sorted((data / "field-wheat" / "img").glob("*.png")):
        plot, _, day, clock, _ = path.stem.split("_")
        at = datetime.strptime(day + clock, "%Y%m%d%H%M%S").astimezone(ZoneInfo("CET"))
        plots.setdefault(plot, []).append(Seen(at, figures_of(decode(path.read_bytes()))))
    plots["all plots, a minute apart"] = [
        Seen(datetime(2031, 5, 1, 8, tzinfo=ZoneInfo("UTC")) + timedelta(minutes=k), s.figures)
        for k, s in enumerate(s for seen in list(plots.values()) for s in seen)
    ]
    verdicts = {plot: judge(seen) for plot, seen in plots.items()}
    mixed = verdicts.pop("all plots, a minute apart")
    told = [v.told for found in verdicts.values() for v in found if v.reason]
    return {
        "photographs": sum(map(len, verdicts.values())),
        "reasons": Counter(v.reason for found in verdicts.values() for v in found if v.reason),
        "reasons_when_mixed": Counter(v.reason for v in mixed if v.reason),
        "told": told,
    }


def show(found: dict) -> None:
    """Print the tables."""
    own = found["season"]
    print(f"bad frames left out {own['bad_left_out']} of {own['bad']}, "
          f"good frames lost {own['good_lost']} of {own['good']}")  # fmt: skip
    for (state, reason), count in sorted(own["table"].items()):
        print(f"  {state:12}{reason:14}{count:5}")
    for path, told in own["lost"]:
        print(f"  lost: {path}: {told}")
    runs = found["spoilt"]
    print("\nspoilt frames left out")
    for group in sorted(runs["total"]):
        total, caught = runs["total"][group], runs["caught"][group]
        print(f"  {group:26}{caught:5} of {total:5}  {caught / total:7.2%}")
    for miss in runs["missed"]:
        print("  missed:", *miss)
    lost = Counter((path, told.split(",")[0]) for _, path, told in runs["lost"])
    for (path, told), times in lost.most_common(12):
        print(f"  lost {times} times: {path}: {told}")
    new = found["newest"]
    print(f"\nnewest frame: visitors caught {new['visitors_caught']} of {new['frames']}, "
          f"good frames held back {new['good_held_back']} of {new['frames']}")  # fmt: skip
    for miss in new["missed"]:
        print("  missed:", *miss)
    if "photographs" in found:
        print("\nfield-wheat:", {k: v for k, v in found["photographs"].items() if k != "told"})
        for told in found["photographs"]["told"]:
            print("  ", told)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--season", type=Path, required=True, help="season folder with its truth")
    parser.add_argument("--data", type=Path, help="folder that holds field-wheat")
    parser.add_argument("--runs", type=int, default=8, help="how often the season is spoilt")
    parser.add_argument("--newest", type=int, default=60, help="newest frames to try")
    parser.add_argument("--json", action="store_true", help="print JSON")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    known = load(given.season)
    found = {
        "season": own_mishaps(known),
        "spoilt": spoilt_runs(known, given.runs),
        "newest": newest(known, given.newest),
    }
    if given.data:
        found["photographs"] = photographs(given.data)
    if given.json:
        found["season"]["table"] = {" ".join(k): v for k, v in found["season"]["table"].items()}
        print(json.dumps(found, indent=2))
    else:
        show(found)


if __name__ == "__main__":
    main()
