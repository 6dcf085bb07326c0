"""What measuring a frame of 12 and of 2 megapixels costs, as a multiple of decoding it in full.

    python tests/bench/measuring_cost.py [--width 4000] [--season DIR] [--frames N]

Frames of the sample season are enlarged, given a small sensor's grain, without which they would be
decoded faster than a camera's, and compressed as a camera does; their size in bytes is told. Both
times are processor time of one thread in the same process, frame by frame in turn, so that another
load on the machine weighs on both. Peak memory is that of the whole process.
"""

import argparse
import ast
import csv
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from lapsekit.ruler import Ruler
from lapsekit.season import Season

sys.path.insert(0, str(Path(__file__).parents[2]))  # run by its path, as it runs itself
from tests.bench.rows import Row

WIDTH, QUALITY, GRAIN = 4000, 85, 5
MOST_TIMES = {4000: 1.5, 1640: 8.0}
"""Bars of the ratio, by the width of the frame in px."""

MOST_MB = 350


def enlarge(source: Path, folder: Path, count: int, width: int) -> None:
    """A season of `count` enlarged frames of the sample one, outlines and scale with them."""
    size = (width, width * 3 // 4)
    with (source / "truth" / "frames.csv").open(newline="") as file:
        usable = [row["path"] for row in csv.DictReader(file) if row["state"] == "usable"]
    chosen = usable[:: max(1, len(usable) // count)][:count]
    factor = width / cv2.imread(str(source / chosen[0])).shape[1]
    for name in ("season.toml", "regions.toml"):
        (folder / name).write_text(_scaled((source / name).read_text("utf-8"), factor))
    for frame in chosen:
        picture = cv2.imread(str(source / frame))
        large = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC)
        grain = np.random.default_rng(1).normal(0, GRAIN, large.shape)
        large = np.clip(large + grain, 0, 255).astype(np.uint8)
        path = folder / frame
        path.parent.mkdir(parents=True, exist_ok=True)
        cv2.imwrite(str(path), large, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])


def _scaled(text: str, factor: float) -> str:
    """Settings with every point moved from one size of picture to another."""
    lines = []
    for line in text.splitlines():
        if line.startswith(("points", "scale_rectangle")):
            name, points = line.split("=", 1)
            moved = (np.array(ast.literal_eval(points.strip())) + 0.5) * factor - 0.5
            line = f"{name}= {moved.round(2).tolist()}"
        lines.append(line)
    return "\n".join(lines) + "\n"


def compare(folder: Path, rounds: int) -> tuple[list[float], list[float]]:
    """Processor seconds of decoding in full and of measuring, for each frame."""
    season = Season(folder)
    season.index()
    frames = season.catalogue.frames()
    ruler = Ruler(season)
    ruler.prepare(frames)
    decoding, measuring = [], []
    for frame in frames:
        times = []
        for _ in range(rounds):
            data = np.frombuffer(season.archive.read(frame.path), np.uint8)
            began = time.process_time()
            cv2.imdecode(data, cv2.IMREAD_COLOR)
            decoded = time.process_time()
            ruler.measure(frame)
            times.append((decoded - began, time.process_time() - decoded))
        quickest = np.min(times, axis=0)
        decoding.append(float(quickest[0]))
        measuring.append(float(quickest[1]))
    return decoding, measuring


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    frames, rounds = (1, 1) if quick else (12, 3)
    for width in (WIDTH,) if quick else MOST_TIMES:
        command = [sys.executable, __file__, "--json", "--width", str(width)]
        command += ["--frames", str(frames), "--rounds", str(rounds)]
        done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
        facts = json.loads(done.stdout)
        yield Row(
            f"measuring, {width * width * 3 // 4 / 1e6:.0f} MP, one core",
            "decoding it in full",
            facts["ratio"],
            None if quick else MOST_TIMES[width],
            facts["peak_mb"] * 1.048576,
            MOST_MB,
            told=f"{facts['measuring_ms']:.0f} ms of processor",
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    here = Path(__file__).resolve().parents[2]
    parser.add_argument("--season", type=Path, default=here / "sample_frames")
    parser.add_argument("--width", type=int, default=WIDTH, help="of the frames, in px")
    parser.add_argument("--frames", type=int, default=12)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--prepared", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    if given.prepared is None:  # in a process of its own, so that its memory is not counted
        with tempfile.TemporaryDirectory() as scratch:
            enlarge(given.season, Path(scratch), given.frames, given.width)
            again = [sys.executable, __file__, "--prepared", scratch, "--rounds", given.rounds]
            again += ["--width", given.width]
            again += ["--json"] if given.json else []
            one = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
            sys.exit(os.spawnve(os.P_WAIT, sys.executable, list(map(str, again)), one))
    decoding, measuring = compare(given.prepared, given.rounds)
    ratio = np.median(np.array(measuring) / np.array(decoding))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if given.json:
        times = {"decoding_ms": np.median(decoding), "measuring_ms": np.median(measuring)}
        facts = {name: 1e3 * float(seconds) for name, seconds in times.items()}
        print(json.dumps({**facts, "ratio": float(ratio), "peak_mb": peak}))
        return
    sizes = [path.stat().st_size for path in (given.prepared / "frames").rglob("*.jpg")]
    print(
        f"{len(decoding)} frames {given.width} px wide, {np.median(sizes) / 1e6:.1f} MB, one thread"
    )
    print(f"decoding in full   {1e3 * np.median(decoding):6.0f} ms")
    print(f"measuring          {1e3 * np.median(measuring):6.0f} ms")
    bar = MOST_TIMES.get(given.width)
    print(f"ratio              {ratio:6.2f}" + (f"   (at most {bar} wanted)" if bar else ""))
    print(f"peak memory        {peak:6.0f} MB (at most {MOST_MB} wanted)")


if __name__ == "__main__":
    main()
