"""Killed at random moments of captures and of the morning chain: is anything lost or half?

    python -m tests.bench.kills [--captures 700] [--mornings 300] [--seed 1]

A process captures frame after frame, or works the morning chain off, and is ended by SIGKILL. After
each kill every frame that was reported stored is compared by its hash, every file under a frame's
name must be a whole picture, every frame in the catalogue must lie there as it was noted, what lies
there and was not noted yet must be once it is indexed, and every page must be whole and refer to
files that are there. After some kills of the morning the chain runs to its end, and its tables and
pages must equal those of a season that was never disturbed.
"""

import argparse
import hashlib
import os
import random
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from lapsekit.errors import PictureError
from lapsekit.frames.archive import content_hash
from lapsekit.frames.inspection import inspect
from lapsekit.frames.names import read_name
from lapsekit.season import OWNER_FILE, Season
from lapsekit.unattended.capturing import capture
from lapsekit.unattended.morning import morning
from tests.publishing.sites import references
from tests.scenes import fill, make_season
from tests.unattended.simulated import timed_picture

NEEDS = "hours"

START = datetime(2031, 4, 1, 6, tzinfo=UTC)
STEP = timedelta(minutes=20)
KILLS_A_SEASON = 10


@dataclass
class Harm:
    """What was found after kills."""

    kills: int = 0
    lost: list[str] = field(default_factory=list)
    half: list[str] = field(default_factory=list)
    disagree: int = 0
    broken: list[str] = field(default_factory=list)
    unequal: int = 0


class Camera:
    """A picture that no other moment has."""

    def take(self, now: datetime):
        """A shot whose pixels tell its time."""
        from lapsekit.cameras import Shot

        return Shot(timed_picture(now), now)


def killed(work: Callable[[int], None], after_s: Callable[[], float]) -> tuple[str, bool]:
    """Run `work` in a process of its own, and kill it; what it reported, and whether in time."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            work(writing)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    os.close(writing)
    time.sleep(after_s())
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    with os.fdopen(reading) as told:
        said = told.read()
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        raise SystemExit("the process failed by itself")
    return said, os.WIFSIGNALED(status)


def kill_captures(folder: Path, kills: int, chance: random.Random) -> Harm:
    """Captures cut off."""
    harm, stored, looked = Harm(), {}, set()
    make_season(folder).catalogue.close()
    now = START

    def work(pipe: int) -> None:
        at = now
        season = Season(folder, lambda: at)
        while True:
            frame = capture(season, "bench", Camera()).frame
            os.write(pipe, f"{frame.path} {frame.sha256}\n".encode())
            at += STEP

    while harm.kills < kills:
        said, _ = killed(work, lambda: chance.uniform(0.0, 0.06))
        harm.kills += 1
        lines = said.splitlines() if said.endswith("\n") or not said else said.splitlines()[:-1]
        new = dict(line.split() for line in lines)
        stored |= new
        now += (len(new) + 1) * STEP
        for path, sha256 in new.items():
            file = folder / path
            if not file.is_file() or content_hash(file.read_bytes()) != sha256:
                harm.lost.append(path)
        _look_for_halves(folder, looked, harm)
        harm.disagree += disagrees(folder)
    for path, sha256 in stored.items():
        if content_hash((folder / path).read_bytes()) != sha256:
            harm.lost.append(path)
    return harm


def disagrees(folder: Path) -> bool:
    """Whether the catalogue claims what the folder does not hold, or misses something for good.

    A frame that was filed and not noted yet is no harm: the next start notes it.
    """
    season = Season(folder)
    claimed = {frame.path: frame.sha256 for frame in season.catalogue.frames()}
    held = {f.path: content_hash((folder / f.path).read_bytes()) for f in season.archive.files()}
    is_false = not claimed.items() <= held.items()
    season.index()
    noted = {frame.path: frame.sha256 for frame in season.catalogue.frames()}
    season.catalogue.close()
    return is_false or noted != held


def kill_mornings(folder: Path, kills: int, chance: random.Random) -> Harm:
    """The morning chain cut off, ten times a season, and then left to its end."""
    harm = Harm()
    _undisturbed(folder / "first")  # with what is read only once
    took, wanted = _undisturbed(folder / "wanted")
    number = 0
    while harm.kills < kills:
        number += 1
        season_folder = folder / f"season-{number}"
        _prepared(season_folder)
        for _ in range(min(KILLS_A_SEASON, kills - harm.kills)):
            _, in_time = killed(
                lambda _, folder=season_folder: _morning(folder),
                lambda: chance.uniform(0, 0.6) * took,
            )
            harm.kills += in_time
            harm.broken += broken_pages(season_folder / "site")
            season = Season(season_folder)
            season.catalogue.frames()
            season.catalogue.close()
        _morning(season_folder)
        harm.unequal += _result(season_folder) != wanted
    return harm


def broken_pages(site: Path) -> list[str]:
    """What a reader who starts at the front page finds half or missing."""
    found, seen = [], set()
    waiting = [site / "index.html"] if (site / "index.html").is_file() else []
    while waiting:
        page = waiting.pop()
        text = page.read_text(encoding="utf-8", errors="replace")
        if not text.rstrip().endswith("</html>"):
            found.append(f"{page.name}: half")
        for reference in references(text):
            target = Path(os.path.normpath(page.parent / reference))
            target = target / "index.html" if target.is_dir() else target
            if not target.is_file():
                found.append(f"{page.relative_to(site)}: {reference}")
            elif target.suffix == ".html" and target not in seen:
                seen.add(target)
                waiting.append(target)
    return found


def _prepared(folder: Path) -> None:
    season = make_season(folder)
    (folder / OWNER_FILE).write_text("one name for all\n")  # names in feeds and calendar rest on it
    fill(season, days=3)
    season.catalogue.close()


def _morning(folder: Path) -> None:
    season = Season(folder, lambda: START + timedelta(days=9))
    with season.lock("morning", 5):
        morning(season, workers=1)
    season.catalogue.close()


def _undisturbed(folder: Path) -> tuple[float, str]:
    _prepared(folder)
    began = time.perf_counter()
    _morning(folder)
    return time.perf_counter() - began, _result(folder)


def _result(folder: Path) -> str:
    """A hash of everything that the chain makes for people."""
    told = hashlib.sha256()
    for part in ("site", "growth"):
        for file in sorted((folder / part).rglob("*")):
            if file.is_file():
                told.update(file.relative_to(folder).as_posix().encode())
                told.update(file.read_bytes())
    return told.hexdigest()


def _look_for_halves(folder: Path, looked: set[str], harm: Harm) -> None:
    for file in (folder / "frames").rglob("*"):
        if file.name in looked or not file.is_file() or read_name(file.name) is None:
            continue
        looked.add(file.name)
        try:
            inspect(file.read_bytes())
        except PictureError:
            harm.half.append(file.name)


def main() -> None:
    """Print what was found."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--captures", type=int, default=700)
    options.add_argument("--mornings", type=int, default=300)
    options.add_argument("--seed", type=int, default=1)
    given = options.parse_args()
    chance = random.Random(given.seed)
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
        for what, kill, kills in (
            ("captures", kill_captures, given.captures),
            ("the morning chain", kill_mornings, given.mornings),
        ):
            harm = kill(Path(scratch, what.split()[-1]), kills, chance)
            print(f"{harm.kills} kills of {what}")
            print(f"  {len(harm.lost)} frames lost or changed that were reported as stored")
            print(f"  {len(harm.half)} half pictures under a final name")
            print(f"  {harm.disagree} times the catalogue disagreed with the folder")
            print(f"  {len(harm.broken)} pages that a reader met half or without", *harm.broken[:3])
            print(f"  {harm.unequal} seasons that came out otherwise than undisturbed", flush=True)
    sys.stdout.flush()


if __name__ == "__main__":
    main()
