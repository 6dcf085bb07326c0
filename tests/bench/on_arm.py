"""lapsekit on ARM: installed from wheels there, are its numbers those of this machine?

    python -m tests.bench.on_arm [--folder DIR] [--install]

Needs root, and the Debian packages debootstrap and qemu-user-static; --install installs them. A
Debian for arm64 is made in a folder, from where this machine has its own packages. lapsekit's wheel
is built from this checkout and installed there and here, with what it needs from wheels alone: what
has no wheel for AArch64 is named, and that is the end. A camera plays frames of the sample season
on both, one after the other; capture, measure, growth and site run; then numbers, reasons, places
and pages are compared. The folder is kept, and used again.

Times are of the processor, and of an emulated one: they say nothing about a Raspberry Pi.
"""

import argparse
import json
import os
import platform
import resource
import shutil
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from lapsekit.cameras.replay import Replay
from lapsekit.sample import sample_frames_folder
from lapsekit.season import Season
from tests.bench.arm import agreement, wheels
from tests.bench.arm.agreement import MOST
from tests.bench.arm.emulated import NEEDED, Emulated

EXTRAS = "alerts,desk,followers,parquet,webdav"
TEXTS = ("season.toml", "regions.toml", "diary.csv", "weather.csv")
KINDS = {
    "frames, areas": agreement.of_frames,
    "frames, colours": agreement.colours_of_frames,
    "days": agreement.of_days,
    "growth table": agreement.of_growth,
}
FACTS = """
import json, platform, sys
from importlib.metadata import version
import cv2, lapsekit
assert lapsekit.__file__.startswith(sys.prefix), lapsekit.__file__
names = "lapsekit numpy opencv-python-headless scipy scikit-image pillow av pydantic".split()
facts = {"processor": platform.machine(), "Python": platform.python_version()}
facts |= {name: version(name) for name in names}
print(json.dumps(facts | {"OpenCV uses": cv2.getCPUFeaturesLine()}))
"""


class Here:
    """This machine, with a folder for the same work."""

    def __init__(self, work: Path):
        self.work = work

    def run(self, *command: object) -> subprocess.CompletedProcess:
        """Run a program in the working folder; the checkout is not on its path."""
        clean = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
        words = list(map(str, command))
        return subprocess.run(
            words, cwd=self.work, env=clean, capture_output=True, text=True, check=False
        )


class Work:
    """What is done on a machine, and the processor time that it took, in s."""

    def __init__(self, name: str, machine: Here | Emulated):
        self.name, self.machine = name, machine
        self.took: Counter[str] = Counter()

    def run(self, what: str, *command: object) -> str:
        """Run a program; its words. Ends everything if it fails."""
        before, began = _processor_s(), time.monotonic()
        done = self.machine.run(*command)
        self.took[what] += _processor_s() - before
        print(f"{self.name}: {what}, {time.monotonic() - began:.0f} s", flush=True)
        if done.returncode:
            sys.exit(f"{self.name}: {what} ended with {done.returncode}\n{done.stderr[-2000:]}")
        return done.stdout.strip()

    def install(self, python: str, wheel: Path, extras: str, *where_from: object) -> None:
        """Install a wheel that lies in the working folder."""
        for command in wheels.install_commands(python, wheel, extras, *where_from):
            self.run("install", *command)

    def facts(self) -> dict[str, str]:
        """Versions, and where lapsekit was loaded from is looked at."""
        return json.loads(self.run("facts", "venv/bin/python", "-P", "-c", FACTS))

    def season(self, sample: Path, frames: list[Path]) -> Season:
        """Frames captured one after the other, measured, followed, put on a site."""
        season, played = self.machine.work / "season", self.machine.work / "played"
        for folder in (season, played):
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
        for name in TEXTS:
            text = (sample / name).read_text(encoding="utf-8")
            text = text.replace('folder = "frames"', 'folder = "../played"')
            (season / name).write_text(text, encoding="utf-8")
        for frame in frames:
            shutil.copy(frame, played)
            self.run("capture", "venv/bin/lapsekit", "capture", "--season", "season")
        for stage in ("measure", "growth", "site"):
            self.run(stage, "venv/bin/lapsekit", stage, "--season", "season")
        return Season(season)


def chosen(sample: Path, days: int, a_day: int) -> list[Path]:
    """Frames from the middle of the season: some of each of some days that follow one another."""
    by_day: dict[str, list[Path]] = {}
    for _, path in Replay(sample / "frames").moments:
        by_day.setdefault(path.parent.name, []).append(path)
    first = max(0, (len(by_day) - days) // 2)
    picked = [by_day[day] for day in sorted(by_day)[first : first + days]]
    return [
        frames[(2 * i + 1) * len(frames) // (2 * a_day)] for frames in picked for i in range(a_day)
    ]


def prepared(install: bool) -> None:
    """What is needed is here, or is installed if that was asked for."""
    if platform.machine() == "aarch64":
        sys.exit("this machine is ARM itself: tests/run says more than this would")
    if os.geteuid() != 0:
        sys.exit("run this as root: a Debian in a folder needs owners other than you")
    missing = [package for program, package in NEEDED.items() if not shutil.which(program)]
    if not missing:
        return
    if not install:
        sys.exit(f"this needs {' and '.join(missing)}; --install installs them with apt-get")
    subprocess.run(["apt-get", "update", "-q"], stdout=subprocess.DEVNULL, check=True)
    command = ["apt-get", "install", "-y", "-q", "--no-install-recommends", *missing]
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)


def compare(here: Season, there: Season) -> bool:
    """Print how far the two seasons agree; whether all is the same within `MOST`."""
    over = f"over {MOST:.1%}"
    print(f"\n{'':18}{'numbers':>9}{'equal':>9}{over:>11}{'largest difference':>22}")
    largest = 0.0
    for kind, values in KINDS.items():
        found = agreement.agreement(values(here), values(there))
        largest = max(largest, found.largest)
        counts = f"{found.compared:>9}{found.equal:>9}{found.over:>11}"
        print(f"{kind:18}{counts}{found.largest:>22.2e}  {found.where}")
    first, second = agreement.words(here), agreement.words(there)
    unlike = sorted(
        name for name in first.keys() | second.keys() if first.get(name) != second.get(name)
    )
    apart = agreement.farthest_px(agreement.places(here), agreement.places(there))
    print(f"corners of the view placed apart by at most {apart:.2g} px")
    print(f"reasons and hashes: {len(unlike)} of {len(first)} differ  {' '.join(unlike[:3])}")
    same_site = compare_sites(here.site, there.site)
    good = largest <= MOST and not unlike and same_site
    print(f"the same within {MOST:.1%}: {'yes' if good else 'NO'}")
    return good


def compare_sites(here: Path, there: Path) -> bool:
    """Print how far two sites agree; whether they hold files of the same kinds, as many of each."""
    first, second = agreement.files(here), agreement.files(there)
    equal = sum(second.get(name) == content for name, content in first.items())
    kinds = Counter(Path(name).suffix for name in first)
    print(f"site: {len(first)} files here, {len(second)} there; {equal} equal byte for byte")
    return kinds == Counter(Path(name).suffix for name in second)


def table(works: list[Work], facts: list[dict[str, str]]) -> None:
    """Print versions and times side by side."""
    rows: list[tuple[str, Callable[[int], str]]] = [
        (name, lambda side, name=name: facts[side][name]) for name in facts[0]
    ]
    rows += [
        (f"{what}, s", lambda side, what=what: f"{works[side].took[what]:.1f}")
        for what in works[0].took
    ]
    wide = 2 + max(len(told(0)) for _, told in rows)
    print(f"\n{'':24}{works[0].name:{wide}}{works[1].name}")
    for name, told in rows:
        print(f"{name:24}{told(0):{wide}}{told(1)}")
    print("times are of the processor; emulated ones say nothing about a Raspberry Pi")


def _processor_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _suite() -> str:
    return platform.freedesktop_os_release().get("VERSION_CODENAME", "")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--folder", type=Path, default=Path("/tmp/lapsekit-on-arm"))
    parser.add_argument("--install", action="store_true", help="Install what this needs.")
    parser.add_argument("--suite", default=_suite(), help="Debian's; this machine's own if not.")
    parser.add_argument("--extras", default=EXTRAS, help="Extras of lapsekit to install too.")
    parser.add_argument("--days", type=int, default=5)
    parser.add_argument("--a-day", type=int, default=2, help="Frames of each day.")
    given = parser.parse_args()
    prepared(given.install)
    sample = sample_frames_folder(wheels.CHECKOUT / "sample_frames")
    frames = chosen(sample, given.days, given.a_day)
    arm = Emulated(given.folder / f"debian-{given.suite}-arm64")
    this = Here(given.folder / "here")
    given.folder.mkdir(parents=True, exist_ok=True)
    new = arm.bootstrap(given.suite, given.folder / "debootstrap.log")
    print(f"Debian {given.suite} for arm64: {'made' if new else 'there already'}", flush=True)
    for machine in (arm, this):
        (machine.work / "wheels").mkdir(parents=True, exist_ok=True)
    wheel = wheels.built(this.work / "wheels")
    there = Path(shutil.copy(wheel, arm.work / "wheels"))
    compiled = wheels.fetch_for_arm(there, given.extras, arm.python())
    print(f"compiled wheels for AArch64: {', '.join(name.split('-')[0] for name in compiled)}")
    works = [Work("here", this), Work("arm64, emulated", arm)]
    works[0].install(sys.executable, wheel, given.extras, "-c", wheels.CONSTRAINTS)
    works[1].install("python3", there, given.extras, "--no-index", "--find-links", "wheels")
    seasons = [work.season(sample, frames) for work in works]
    table(works, [work.facts() for work in works])
    sys.exit(not compare(*seasons))


if __name__ == "__main__":
    main()
