"""What it costs to start lapsekit, beside a bare start of Python.

    python -m tests.bench.start_cost [--times 15] [--json]

Programs are started in turns, each `--times` times; the median processor time of each is told, and
how many times that of ``python -c pass`` it is, all in one run, so that others on the machine do
not count. `capture` takes a frame by a camera that prints a file; `run` is what the long-running
process loads before it takes the first.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from tests.bench.rows import Row
from tests.scenes import SETTINGS, encoded, growing_bench, make_season

BARE, TYPER, HELP, RUN, CAPTURE = (
    "python -c pass",
    "import typer",
    "lapsekit --help",
    "lapsekit run, loaded",
    "lapsekit capture",
)
MOST_TIMES = 9.0
"""How many bare starts `lapsekit --help` may cost."""


def programs(folder: Path) -> dict[str, list[str]]:
    """What is started, with a season in `folder` to take frames for."""
    picture = folder / "picture.png"
    picture.write_bytes(encoded(growing_bench(3)))
    camera = f'kind = "command"\ncommand = ["cat", "{picture}"]'
    make_season(folder / "bench", SETTINGS.replace('kind = "files"', camera)).catalogue.close()
    lapsekit = [sys.executable, "-m", "lapsekit"]
    loaded = "import lapsekit.cli, lapsekit.cli.seasons, lapsekit.unattended.process"
    return {
        BARE: [sys.executable, "-c", "pass"],
        TYPER: [sys.executable, "-c", "import typer"],
        HELP: [*lapsekit, "--help"],
        RUN: [sys.executable, "-c", loaded],
        CAPTURE: [*lapsekit, "capture", "--season", str(folder / "bench")],
    }


def processor_ms(command: list[str]) -> float:
    """Milliseconds of processor time that one start takes.

    Raises
    ------
    RuntimeError
        If the program fails.
    """
    started = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(started.pid, 0)
    started.returncode = os.waitstatus_to_exitcode(status)
    if started.returncode:
        raise RuntimeError(f"{' '.join(command)} ended with {started.returncode}")
    return 1e3 * (used.ru_utime + used.ru_stime)


def costs(folder: Path, times: int) -> dict[str, float]:
    """Median processor time of each, in milliseconds; they are started in turns."""
    asked = programs(folder)
    for command in asked.values():  # compiled, and read from the disk, before it counts
        processor_ms(command)
    taken: dict[str, list[float]] = {name: [] for name in asked}
    for _ in range(times):
        for name, command in asked.items():
            taken[name].append(processor_ms(command))
    return {name: statistics.median(each) for name, each in taken.items()}


def told(found: dict[str, float]) -> str:
    """The table."""
    lines = [f"{datetime.now(UTC):%Y-%m-%d}: medians of processor time"]
    for name, used in found.items():
        lines.append(f"{name:22}{used:8.1f} ms{used / found[BARE]:8.2f} times a bare start")
    lines.append(f"at most {MOST_TIMES:g} times wanted for {HELP}")
    return "\n".join(lines)


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as folder:
        found = costs(Path(folder), 3 if quick else 15)
    for name in (HELP, CAPTURE):
        yield Row(
            f"start: {name}",
            BARE,
            found[name] / found[BARE],
            MOST_TIMES if name == HELP else None,
            told=f"{found[name]:.0f} ms of processor",
        )


def main(arguments: list[str] | None = None) -> int:
    """Measure, tell, and say by the exit code whether the bar is kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=15)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as folder:
        found = costs(Path(folder), asked.times)
    times = {name: used / found[BARE] for name, used in found.items()}
    print(json.dumps({"ms": found, "times": times}, indent=1) if asked.json else told(found))
    return int(times[HELP] > MOST_TIMES)


if __name__ == "__main__":
    sys.exit(main())
