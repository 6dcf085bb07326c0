"""What filing a captured picture costs: processor time, and memory over many captures.

    python -m tests.bench.capture_cost [--captures 20000] [--privacy]

A camera hands out the bytes of a 12-megapixel JPEG, a different one each time; everything else is
as on the bench: looked at, time and camera written into it, hashed, written, synced, noted. Frames
are deleted again as they come, so that no disk fills up. With --privacy an area is blacked out.
"""

import argparse
import hashlib
import io
import os
import resource
import struct
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median, quantiles

from lapsekit.cameras import Shot
from lapsekit.frames.inspection import inspect
from lapsekit.season import Season
from lapsekit.unattended.capturing import capture
from tests.bench.rows import Row

SIZE, QUALITY = (4000, 3000), 92
MOST_MS, MOST_GROWTH_MB, MOST_MB = 60, 5, 65
WARM_UP = 200
"""Captures before memory is looked at: by then the allocator has made up its mind what it keeps."""

SETTINGS = """\
[season]
title = "Cost of a capture"
time_zone = "CET"
sown = 2031-04-01

[cameras.bench]
kind = "command"
command = ["true"]
"""
PRIVACY = "privacy = [[[0, 0], [400, 0], [400, 220], [0, 220]]]\nprivacy_size_px = [{}, {}]\n"


class Handing:
    """A camera that hands out one picture again and again, each with its number in it."""

    def __init__(self, data: bytes):
        self._data, self._given = data, 0

    def take(self, now: datetime) -> Shot:
        self._given += 1
        note = struct.pack(">BBHQ", 0xFF, 0xFE, 10, self._given)
        return Shot(self._data[:2] + note + self._data[2:], now)


def twelve_megapixels() -> bytes:
    """A JPEG with the grain of a sensor, as large as cameras make them."""
    import numpy as np
    from PIL import Image

    random = np.random.default_rng(1)
    coarse = Image.fromarray(random.integers(30, 220, (75, 100, 3), np.uint8))
    smooth = np.asarray(coarse.resize(SIZE, Image.Resampling.BICUBIC), np.int16)
    grain = random.integers(-9, 10, (*SIZE[::-1], 1), np.int16)
    out = io.BytesIO()
    picture = Image.fromarray(np.clip(smooth + grain, 0, 255).astype(np.uint8))
    picture.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()


def held_mb() -> float:
    """Memory that this process holds now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def measured(
    folder: Path, data: bytes, captures: int, privacy: bool = False, warm_up: int = WARM_UP
) -> dict[str, float]:
    """Processor time of each capture in ms, and memory in MB."""
    facts = inspect(data)
    settings = SETTINGS + (PRIVACY.format(facts.width, facts.height) if privacy else "")
    (folder / "season.toml").write_text(settings)
    now = datetime(2031, 4, 1, 8, tzinfo=UTC)
    season, camera = Season(folder, lambda: now), Handing(data)
    times, start = [], 0.0
    for number in range(captures + warm_up):
        now += timedelta(minutes=10)
        began = time.process_time()
        took = capture(season, "bench", camera)
        frame, is_new = took.frame, took.is_new
        times.append(1e3 * (time.process_time() - began))
        assert is_new
        (folder / frame.path).unlink()
        if number == warm_up:
            start = held_mb()
    season.catalogue.close()
    kept = times[warm_up:]
    return {
        "median_ms": median(kept),
        "p99_ms": quantiles(kept, n=100)[98],
        "growth_mb": held_mb() - start,
        "held_mb": held_mb(),
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def made_apart() -> bytes:
    """The picture, made in another process, so that its memory is not counted."""
    code = "import sys; from tests.bench.capture_cost import twelve_megapixels as made\n"
    code += "sys.stdout.buffer.write(made())"
    return subprocess.run([sys.executable, "-c", code], stdout=-1, check=True).stdout


def hashed_and_written_ms(folder: Path, data: bytes, times: int) -> float:
    """Processor time of what no filing can do without: a hash, and a file that is on the disk."""
    spent = []
    for _ in range(times):
        began = time.process_time()
        hashlib.sha256(data).digest()
        with (folder / "picture").open("wb") as file:
            file.write(data)
            os.fsync(file.fileno())
        spent.append(1e3 * (time.process_time() - began))
        (folder / "picture").unlink()
    return median(spent)


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    data, captures = made_apart(), 10 if quick else 300
    with tempfile.TemporaryDirectory() as scratch:
        floor = hashed_and_written_ms(Path(scratch), data, captures)
        folders = [Path(scratch, name) for name in ("some", "many")]
        for folder in folders:
            folder.mkdir()
        some, many = (
            measured(folder, data, count, warm_up=captures)
            for folder, count in zip(folders, (captures, 10 * captures), strict=True)
        )
    yield Row(
        "capture, 12 MP: looked at, EXIF in, filed, noted",
        "hashed, written, synced",
        some["median_ms"] / floor,
        memory_mb=many["peak_mb"] * 1.048576,
        memory_at_most_mb=MOST_MB,
        tenfold=10 * many["median_ms"] / some["median_ms"],
        told=f"{some['median_ms']:.0f} ms of processor",
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--captures", type=int, default=300)
    parser.add_argument("--privacy", action="store_true")
    parser.add_argument("--picture", type=Path, help="JPEG to hand out instead of a made one.")
    given = parser.parse_args()
    data = made_apart() if given.picture is None else given.picture.read_bytes()
    with tempfile.TemporaryDirectory() as scratch:
        found = measured(Path(scratch), data, given.captures, given.privacy)
    print(f"{given.captures} captures of a JPEG of {len(data) / 1e6:.1f} MB")
    print(f"processor time, median {found['median_ms']:6.1f} ms (at most {MOST_MS} wanted)")
    print(f"processor time, p99    {found['p99_ms']:6.1f} ms")
    print(f"memory grown by        {found['growth_mb']:6.1f} MB (at most {MOST_GROWTH_MB} wanted)")
    print(f"memory held            {found['held_mb']:6.1f} MB")
    print(f"peak memory            {found['peak_mb']:6.1f} MB")


if __name__ == "__main__":
    main()
