"""The sample season from frames to site and film, beside its floor.

    python -m tests.bench.whole_season [--season DIR] [--keep DIR] [--json]

The commands `measure`, `growth`, `site` and `film` run one after another on a fresh copy of the
season, each as a process of its own, on all cores. The floor is what no program can do without:
decoding every frame once, encoding every picture of the site once, as it is encoded there, and the
film once, by the encoder alone; on all cores too. Both are wall times of the same run.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from lapsekit.sample import copy_sample_season, sample_frames_folder
from lapsekit.site.pictures import FINE, KINDS, SMALL, encode
from tests.bench.film_cost import encoded, prepared
from tests.bench.rows import Row

BAR = 1.8
STAGES = ("measure", "growth", "site", "film")


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Wall and processor seconds, those of children included."""
    wall, before = time.monotonic(), os.times()
    work()
    after = os.times()
    return time.monotonic() - wall, sum(after[:4]) - sum(before[:4])


def on_all_cores(work: Callable[[Path], object], items: Iterable[Path]) -> None:
    """Do the work for each item, as many at once as there are cores."""
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        for _ in pool.map(work, items):
            pass


def fresh(sample: Path, folder: Path, days: int | None = None) -> list[Path]:
    """A season folder with the sample's first days and nothing derived; its frames."""
    copy_sample_season(sample, folder)
    for camera in sorted((sample / "frames").iterdir()):
        for day in sorted(camera.iterdir())[:days]:
            shutil.copytree(day, folder / day.relative_to(sample), dirs_exist_ok=True)
    for name in ("diary.csv", "weather.csv"):
        if (sample / name).is_file():
            shutil.copy(sample / name, folder / name)
    return sorted(path for path in (folder / "frames").rglob("*.jpg"))


def run(stage: str, folder: Path) -> None:
    """One command of lapsekit on the season."""
    command = [sys.executable, "-m", "lapsekit", stage, "--season", str(folder), "--json"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def decode(path: Path) -> None:
    """Bare decoding of a frame in full."""
    if cv2.imdecode(_bytes(path), cv2.IMREAD_COLOR) is None:
        cv2.imread(str(path))  # cut short on purpose, in the sample season


def _bytes(path: Path):
    return np.frombuffer(path.read_bytes(), np.uint8)


def again(held: Mapping[Path, Image.Image], path: Path) -> None:
    """Encode a picture of the site as it was."""
    options = SMALL if path.name.startswith("ribbon") else FINE
    encode(held[path], path.suffix.removeprefix("."), options)


def pictures_of(site: Path) -> list[Path]:
    """Every picture of the site that was encoded for it."""
    endings = {f".{kind}" for kind in KINDS}
    return sorted(p for p in (site / "pictures").rglob("*") if p.suffix in endings)


def encoding(site: Path) -> tuple[float, float, int]:
    """Seconds, of wall and processor, of encoding the site's pictures once; their number.

    They are decoded beforehand, a handful at a time, and that is not counted.
    """
    found, wall, processor = pictures_of(site), 0.0, 0.0
    for start in range(0, len(found), 64):
        part = found[start : start + 64]
        held = {path: Image.open(path).convert("RGB") for path in part}
        one, two = timed(partial(on_all_cores, partial(again, held), held))
        wall, processor = wall + one, processor + two
    return wall, processor, len(found)


def film_alone(folder: Path, scratch: Path) -> float:
    """Wall seconds of encoding the film's pictures, prepared beforehand."""
    raw = scratch / "pictures.yuv"
    size, _, fps = prepared(folder, {}, raw)
    took = encoded(raw, size, fps, scratch / "alone.mp4").wall_s
    raw.unlink()
    return took


def measured(sample: Path, scratch: Path, days: int | None = None) -> dict[str, object]:
    """Everything that is printed."""
    cv2.setNumThreads(1)
    folder = scratch / "season"
    frames = fresh(sample, folder, days)
    stages = {stage: timed(lambda s=stage: run(s, folder)) for stage in STAGES}
    decoding = timed(lambda: on_all_cores(decode, frames))[0]
    pictures, _, count = encoding(folder / "site")
    film = film_alone(folder, scratch)
    whole, floor = sum(wall for wall, _ in stages.values()), decoding + pictures + film
    return {
        "cores": os.cpu_count(),
        "load": os.getloadavg()[0],
        "frames": len(frames),
        "pictures": count,
        "stages_s": {name: round(wall, 2) for name, (wall, _) in stages.items()},
        "processor_s": {name: round(cpu, 2) for name, (_, cpu) in stages.items()},
        "floor_s": {
            "decoding": round(decoding, 2),
            "site pictures": round(pictures, 2),
            "film": round(film, 2),
        },
        "whole_s": round(whole, 2),
        "whole_floor_s": round(floor, 2),
        "ratio": round(whole / floor, 2),
    }


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    with tempfile.TemporaryDirectory() as scratch:
        facts = measured(sample_frames_folder(None), Path(scratch), 2 if quick else None)
    stages = ", ".join(f"{name} {wall:.0f} s" for name, wall in facts["stages_s"].items())
    yield Row(
        f"sample season, {facts['frames']} frames to site and film, all cores",
        "decoding and encoding once",
        facts["ratio"],
        None if quick else BAR,
        told=f"{facts['whole_s']:.0f} s of {facts['whole_floor_s']:.0f} s: {stages}",
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--season", type=Path, help="the sample season")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        facts = measured(sample_frames_folder(asked.season), Path(scratch))
    if asked.json:
        print(json.dumps(facts, indent=2))
        return
    print(f"{facts['frames']} frames, {facts['cores']} cores, load {facts['load']:.1f}")
    for name, wall in facts["stages_s"].items():
        print(f"  {name:14} {wall:7.1f} s   ({facts['processor_s'][name]:.1f} s of processor)")
    for name, wall in facts["floor_s"].items():
        print(f"  floor: {name:14} {wall:7.1f} s")
    print(
        f"whole {facts['whole_s']:.1f} s, floor {facts['whole_floor_s']:.1f} s: "
        f"{facts['ratio']:.2f} (at most {BAR} wanted)"
    )


if __name__ == "__main__":
    main()
