"""Peak memory of every stage beside its bound, and the morning chain under a limit of the kernel's.

    python -m tests.bench.memory [--days 365] [--width 4000] [--json]

A season of `--days` days is made, one frame of 12 megapixels a day, and everything in it is worked
out by the commands, each a process of its own: measured, its growth, its site, its film. Then a day
with a dozen frames is added, and the morning chain (measure, growth, site, publish to a folder)
brings it online; the film grows by it. season.toml says ``[compute] memory_mb = 400``, and the
kernel holds every one of them to that; how it does is printed. The film at 1080p is made without a
limit, and the capture process files pictures of 12 megapixels. What is printed is the most that a
process held.
"""

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

from tests.bench.rows import Row
from tests.bench.watched import Took, how_limited, run

DAYS, WIDTH, MORNING_FRAMES, CAPTURES = 365, 4000, 12, 100
LIMIT_MB = 400
CAPTURE_MB, FILM_MB = 65, 450

_MADE = """
import sys
from pathlib import Path
from tests.bench.long_season import Bench, add_days, begun
folder, width, first, last, frames = Path(sys.argv[1]), *map(int, sys.argv[2:])
if not folder.exists():
    begun(folder, Bench(width))
add_days(folder, first, last, Bench(width, frames))
"""
_PICTURE = """
import sys
from pathlib import Path
from tests.bench.capture_cost import twelve_megapixels
Path(sys.argv[1]).write_bytes(twelve_megapixels())
"""
_CAPTURED = """
import sys
from pathlib import Path
from tests.bench.capture_cost import measured
folder, captures = Path(sys.argv[1]), int(sys.argv[2])
measured(folder, (folder.parent / "picture.jpg").read_bytes(), captures, warm_up=captures // 2)
"""


def main(arguments: list[str] | None = None) -> int:
    """Measure, tell, and say by the exit code whether the bounds are kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=DAYS)
    parser.add_argument("--width", type=int, default=WIDTH, help="of the frames, in px")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    kept = True
    if not asked.json:
        print(f"limit: {LIMIT_MB} MB, by {how_limited()}", flush=True)
    for row in peaks(asked.days, asked.width):
        kept &= row.is_kept
        bound = f"(at most {row.memory_at_most_mb:g})"
        told = f"{row.stage:52}{row.memory_mb:7.0f} MB {bound}  {row.told}"
        print(json.dumps(asdict(row)) if asked.json else told, flush=True)
    return int(not kept)


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    if not quick:
        yield from peaks(DAYS, WIDTH)
        return
    with tempfile.TemporaryDirectory() as scratch:
        yield _capturing(Path(scratch), 10)
        folder = Path(scratch, "season")
        _must(run([str(folder), str(WIDTH), "0", "1", "2"], code=_MADE))
        yield _limited(folder, "measure 2 frames of 12 MP", ["measure"])


def peaks(days: int, width: int) -> Iterator[Row]:
    """A row for each stage, as soon as it is known."""
    with tempfile.TemporaryDirectory() as scratch:
        os.environ["XDG_CONFIG_HOME"] = f"{scratch}/config"  # where the season is trusted
        yield _capturing(Path(scratch), CAPTURES)
        yield from _season(Path(scratch, "season"), days, width)


def _capturing(scratch: Path, captures: int) -> Row:
    folder = scratch / "captures"
    folder.mkdir()
    _must(run([str(scratch / "picture.jpg")], code=_PICTURE))
    took = _must(run([str(folder), str(captures)], code=_CAPTURED))
    return _row(f"capture process, {captures} frames of 12 MP", took, CAPTURE_MB)


def _season(folder: Path, days: int, width: int) -> Iterator[Row]:
    size = f"{width * width * 3 // 4 / 1e6:.0f} MP"
    _must(run([str(folder), str(width), "0", str(days), "1"], code=_MADE))
    _allow(folder)
    for words, stage in (
        (["measure"], f"measure {days} frames of {size}"),
        (["growth"], f"growth at {days} days"),
        (["site"], f"site build at {days} days, whole"),
        (["film"], f"film of {days} days, 720p"),
    ):
        yield _limited(folder, stage, words)
    sharp = _must(_run(folder, ["film", "--set", "short_side_px=1080"]))
    yield _row(f"film of {days} days, 1080p", sharp, FILM_MB)
    new = [str(folder), str(width), str(days), str(days + 1), str(MORNING_FRAMES)]
    _must(run(new, code=_MADE))
    yield _limited(folder, f"morning chain, day {days + 1}, {MORNING_FRAMES} frames", ["morning"])
    yield _limited(folder, "film segment of that day", ["film"])


def _allow(folder: Path) -> None:
    """Settings of a small board; published to a folder, for which the season is trusted."""
    settings = folder / "season.toml"
    more = f"\n[compute]\nmemory_mb = {LIMIT_MB}\n"
    more += f'\n[publish]\nto = "folder"\ntarget = "{folder.parent / "published"}"\n'
    settings.write_text(settings.read_text("utf-8") + more, "utf-8")
    _must(_run(folder, ["trust"], positional=True))


def _run(folder: Path, words: list[str], limit_mb: int = 0, positional: bool = False) -> Took:
    where = [str(folder)] if positional else ["--season", str(folder)]
    return run([*words, *where], limit_mb)


def _limited(folder: Path, stage: str, words: list[str]) -> Row:
    """A stage that the kernel holds to the limit; one that fails by it crosses its bound."""
    took = _run(folder, words, LIMIT_MB)
    row = _row(stage, took, LIMIT_MB, "held to it")
    if took.code == 0:
        return row
    last = (took.complaint.strip() or f"ended with code {took.code}").splitlines()[-1]
    return replace(row, told=f"FAILED: {last[:200]}", failed=True)


def _row(stage: str, took: Took, bound_mb: float, told: str = "") -> Row:
    spent = f"{took.processor_s:.1f} s of processor"
    told = f"{spent}, {told}" if told else spent
    return Row(stage, memory_mb=took.peak_mb, memory_at_most_mb=bound_mb, told=told)


def _must(took: Took) -> Took:
    if took.code:
        sys.exit(f"ended with code {took.code}: {took.complaint}")
    return took


if __name__ == "__main__":
    sys.exit(main())
