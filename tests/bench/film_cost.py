"""What a whole season's film costs beside encoding its pictures alone.

    python -m tests.bench.film_cost --season DIR [--short-side 1080] [--json]

`lapsekit film` makes the season's film anew, wide, with all corrections. Its pictures, prepared
beforehand as raw video, are then encoded by the ffmpeg program: the same encoder, preset and
quality. The film may take at most 1.3 times as long, at most 500 MB, and no more for 2,000 pictures
than for 100. The season's folder is copied first (its frames as links) and is left alone.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import av

from lapsekit.film.composing import composed
from lapsekit.film.encoding import recipe_named
from lapsekit.film.making import cut_of
from lapsekit.language.words import Words
from lapsekit.progress import silent
from lapsekit.season import Season
from tests.bench.long_season import Bench, add_days, begun
from tests.bench.rows import Row, tenfold
from tests.bench.watched import run as watched

BAR, MEMORY_MB = 1.3, 500
LONG, SHORT = 2000, 100


@dataclass(frozen=True)
class Run:
    """One program's run: wall and processor time, most memory, bytes made."""

    wall_s: float
    processor_s: float
    peak_mb: float
    size: int


def ran(command: list[str], made: Path, **options) -> Run:
    """Run a program and see what it took."""
    began = time.monotonic()
    process = subprocess.Popen(command, **options)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        sys.exit(f"{' '.join(command)} ended with {process.returncode}")
    wall = time.monotonic() - began
    return Run(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, made.stat().st_size)


def copied(season: Path, to: Path) -> Path:
    """A season that may be filmed: its frames are links to the ones that are there."""
    shutil.copytree(
        season, to, copy_function=os.link, ignore=shutil.ignore_patterns("films", "site", ".cache")
    )
    for name in ("catalogue.sqlite", "season.toml"):
        (to / name).unlink()
        shutil.copy(season / name, to / name)
    return to


def filmed(folder: Path, said: dict[str, object]) -> Run:
    """The season's film by the command itself, from nothing but kept levels of light."""
    shutil.rmtree(folder / "films", ignore_errors=True)
    options = [f"--set={key}={json.dumps(value)}" for key, value in said.items()]
    command = [
        sys.executable,
        "-m",
        "lapsekit",
        "film",
        "--season",
        str(folder),
        "--json",
        *options,
    ]
    shown = folder / "films.json"
    with shown.open("w") as out:
        run = ran(command, shown, stdout=out)
    return Run(run.wall_s, run.processor_s, run.peak_mb, Path(told(folder)["path"]).stat().st_size)


def told(folder: Path) -> dict:
    """What the command said last."""
    return json.loads((folder / "films.json").read_text())["films"][0]


def prepared(folder: Path, said: dict[str, object], raw: Path) -> tuple[tuple[int, int], int, int]:
    """Write the film's pictures as raw video; their size, their number, pictures a second."""
    season = Season(folder)
    cut = cut_of(season, "season", said)
    shown = composed(season, cut, Words("en"), None, {}, None, silent)
    count = 0
    with raw.open("wb") as file:
        for picture in shown.painter.pictures(shown.shots):
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.reformat(format="yuv420p", dst_colorspace="ITU709").to_ndarray().tofile(file)
            count += 1
    season.catalogue.close()
    return shown.size, count, cut.frames_per_second


def encoded(raw: Path, size: tuple[int, int], fps: int, target: Path) -> Run:
    """The same pictures by ffmpeg."""
    recipe = dict(recipe_named("web").options)
    command = ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "yuv420p"]
    command += ["-s", f"{size[0]}x{size[1]}", "-r", str(fps), "-i", str(raw)]
    command += ["-c:v", "libx264", "-preset", recipe["preset"], "-crf", recipe["crf"]]
    command += ["-profile:v", "high", "-movflags", "+faststart", str(target)]
    return ran(command, target)


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks, of a season that is made and measured for it."""
    days, side, bench = (2, 240, Bench(480, 3)) if quick else (30, 1080, Bench(960, 2))
    said = {"shape": "wide", "short_side_px": side}
    said["shows"] = ["date", "curve", "diary", "names", "thread"]
    with tempfile.TemporaryDirectory() as scratch:
        folder, raw = Path(scratch, "season"), Path(scratch, "pictures.yuv")
        begun(folder, bench)
        add_days(folder, 0, days, bench)
        done = watched(["measure", "--season", str(folder)])
        if done.code:
            sys.exit(done.complaint)
        film = filmed(folder, said)
        size, count, fps = prepared(folder, said, raw)
        alone = encoded(raw, size, fps, Path(scratch, "alone.mp4"))
        few, many = (12, 24) if quick else (60, 600)
        lengths = {n: {**said, "length_seconds": n / fps} for n in (few, many)}
        peaks = {n: filmed(folder, each) for n, each in lengths.items()}
    yield Row(
        f"film, {side}p, {count} pictures, all corrections",
        "ffmpeg alone, same encoder",
        film.processor_s / alone.processor_s,
        None if quick else BAR,
        peaks[many].peak_mb * 1.048576,
        MEMORY_MB,
        tenfold(peaks[few].processor_s, peaks[many].processor_s, many / few),
        f"{film.processor_s:.1f} s of processor",
    )


def main() -> None:
    """Measure and print."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--season", type=Path, required=True, help="a measured season")
    asked.add_argument("--short-side", type=int, default=1080)
    asked.add_argument("--json", action="store_true")
    asked = asked.parse_args()
    said = {"shape": "wide", "short_side_px": asked.short_side}
    said["shows"] = ["date", "curve", "diary", "names", "thread"]
    with tempfile.TemporaryDirectory(dir=asked.season.parent) as scratch:
        folder = copied(asked.season, Path(scratch) / "season")
        film = filmed(folder, said)
        pictures = told(folder)["pictures"]
        raw = Path(scratch) / "pictures.yuv"
        size, count, fps = prepared(folder, said, raw)
        if count != pictures:
            sys.exit(f"the film has {pictures} pictures, {count} were prepared")
        alone = encoded(raw, size, fps, Path(scratch) / "alone.mp4")
        raw.unlink()
        lengths = {n: {**said, "length_seconds": n / fps} for n in (SHORT, LONG)}
        memory = {n: filmed(folder, each).peak_mb for n, each in lengths.items()}
    facts = {
        "size": size,
        "pictures": count,
        "film": asdict(film),
        "ffmpeg": asdict(alone),
        "ratio": film.wall_s / alone.wall_s,
        "peak_mb": {str(n): each for n, each in memory.items()},
    }
    if asked.json:
        print(json.dumps(facts, indent=2))
        return
    print(f"{count} pictures of {size[0]} x {size[1]} px")
    for name, run in (("lapsekit film", film), ("ffmpeg alone", alone)):
        print(
            f"{name:14} {run.wall_s:7.1f} s, {run.processor_s:7.1f} s of processor time, "
            f"{run.peak_mb:5.0f} MB, {run.size / 1e6:.1f} MB made"
        )
    print(f"ratio {facts['ratio']:.2f} (at most {BAR})")
    for n, each in memory.items():
        print(f"{n:5} pictures: {each:.0f} MB (at most {MEMORY_MB})")


if __name__ == "__main__":
    main()
