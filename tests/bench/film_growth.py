"""What a day more costs a film that grows daily, and whether it still plays without a break.

    python -m tests.bench.film_growth [--days 365] [--short-side 720] [--json]

A made-up season (pictures of the sample season, spread over so many days) is filmed whole, one
picture a day at constant time, with all corrections. Then a day is added, three times, and filmed
again: the days whose light the new one changes are encoded, and all are joined. The median may
cost at most 5 % of the whole. The film that grew must show what one made at once shows, which
ffprobe, ffmpeg and Chromium look at.
"""

import argparse
import hashlib
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median

import numpy as np

from lapsekit.film.making import FilmReport, make_film
from lapsekit.season import Season
from lapsekit.serving import open_server
from tests.bench.rows import Row, tenfold
from tests.browsing import CHROMIUM_ARGUMENTS, running
from tests.film.made_films import probed, times
from tests.site.made_season import Kind, add_day, made

MORNINGS = 3
BAR = 0.05


@dataclass
class Made:
    """One making of the film: seconds on the clock and of processors, and what it encoded."""

    days: int
    seconds: float
    processor_s: float
    pictures: int
    encoded: int


def make(folder: Path, days: int, said: dict) -> tuple[Made, FilmReport]:
    """Make, or make longer, the film of so many days."""
    season = Season(folder)
    began, used = time.perf_counter(), time.process_time()
    report = make_film(season, "season", said)
    spent = time.perf_counter() - began, time.process_time() - used
    season.catalogue.close()
    return Made(days, *(round(e, 3) for e in spent), report.pictures, report.encoded), report


def broken(report: FilmReport, per_second: int) -> list[str]:
    """What ffprobe, ffmpeg and Chromium find wrong with the film."""
    count, found = report.pictures, []
    told = probed(report.path)
    video = told["streams"][0]
    if int(video["nb_read_frames"]) != count:
        found.append(f"{video['nb_read_frames']} pictures instead of {count}")
    if abs(float(video["duration"]) - count / per_second) > 1e-3:
        found.append(f"lasts {video['duration']} s")
    if not told["chapters"]:
        found.append("no chapters")
    decoded, shown = np.array(times(report.path)).T
    if not np.allclose(np.sort(shown), np.arange(count) / per_second, atol=2e-6):
        found.append("times of pictures have a break")
    if not np.allclose(np.diff(decoded), 1 / per_second, atol=3e-6):
        found.append("times of decoding have a break")
    return found + _browsed(report.path, count / per_second)


def decoded_hash(film: Path) -> str:
    """Hash of all its pictures as ffmpeg decodes them, without a complaint."""
    command = ["ffmpeg", "-v", "error", "-i", film, "-map", "0:v", "-f", "rawvideo", "-"]
    digest = hashlib.sha256()
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as done:
        while block := done.stdout.read(1 << 20):
            digest.update(block)
        said = done.stderr.read()
    return digest.hexdigest() if not said else said.decode()


def _browsed(film: Path, seconds: float) -> list[str]:
    """Seeks over the whole film, and plays its last seconds to their end."""
    from playwright.sync_api import sync_playwright

    (film.parent / "index.html").write_text(
        f"<!doctype html><video src='{film.name}' muted preload='auto'></video>"
    )
    with (
        open_server(film.parent, 0) as server,
        running(server) as root,
        sync_playwright() as play,
        play.chromium.launch(
            executable_path="/usr/bin/chromium", args=CHROMIUM_ARGUMENTS
        ) as browser,
    ):
        page = browser.new_page()
        page.goto(root)
        page.wait_for_function("document.querySelector('video').readyState >= 3")
        sought = [
            page.evaluate(
                """(to) => new Promise((done) => { const video = document.querySelector('video');
                video.onerror = () => done(-1); video.onseeked = () => done(video.currentTime);
                video.currentTime = to; })""",
                float(second),
            )
            for second in np.linspace(0, seconds - 0.01, 22)
        ]
        ended = page.evaluate(
            """(from) => new Promise((done) => { const video = document.querySelector('video');
            video.onended = () => done(true); video.onerror = () => done(false);
            video.onseeked = () => video.play(); video.currentTime = from; })""",
            max(0, seconds - 4),
        )
    off = np.abs(np.array(sought) - np.linspace(0, seconds - 0.01, 22)).max()
    found = [] if off < 0.01 else [f"seeks are off by up to {off:.2f} s"]
    return found if ended else [*found, "does not play to its end"]


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks; whether it plays, `main` looks at."""
    few, many = (3, 6) if quick else (36, 365)
    said = {"short_side_px": 240 if quick else 720}
    with tempfile.TemporaryDirectory() as scratch:
        folders = {days: Path(scratch, f"{days}") for days in (few, many)}
        wholes, mornings = {}, {}
        for days, folder in folders.items():
            made(folder, days, Kind()).catalogue.close()
            wholes[days] = make(folder, days, said)[0].processor_s
            season = Season(folder)
            add_day(season, days, days + 1)
            season.catalogue.close()
            mornings[days] = make(folder, days + 1, said)[0].processor_s
    for what, spent, beside in (
        (f"film, a day more, {many} days", mornings, f"the whole film of {many} days"),
        (f"film made whole, {many} days", wholes, f"{few} days"),
    ):
        against = wholes[many] if spent is mornings else wholes[few]
        yield Row(
            what,
            beside,
            spent[many] / against,
            BAR if spent is mornings and not quick else None,
            tenfold=tenfold(spent[few], spent[many], many / few),
            told=f"{spent[many]:.1f} s of processor",
        )


def main(arguments: list[str] | None = None) -> int:
    """Measure, tell, and say by the exit code whether the bar is kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--short-side", type=int, default=720, help="of the film, in px")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    said = {"short_side_px": asked.short_side}
    with tempfile.TemporaryDirectory() as scratch:
        folder, whole_days = Path(scratch, "season"), asked.days + MORNINGS
        made(folder, asked.days, Kind()).catalogue.close()
        whole, _ = make(folder, asked.days, said)
        mornings = []
        for number in range(asked.days, whole_days):
            season = Season(folder)
            add_day(season, number, whole_days)
            season.catalogue.close()
            spent, report = make(folder, number + 1, said)
            mornings.append(spent)
        wrong = broken(report, report.pictures and round(report.pictures / report.seconds))
        grown = decoded_hash(report.path)
        report.path.rename(folder / "grown.mp4")
        shutil.rmtree(folder / "films" / ".parts")
        make(folder, whole_days, said)
        if decoded_hash(report.path) != grown:
            wrong.append("shows other pictures than a film made at once")
    shares = {
        "seconds": median(each.seconds for each in mornings) / whole.seconds,
        "processor": median(each.processor_s for each in mornings) / whole.processor_s,
    }
    rows = [whole, *mornings]
    if asked.json:
        print(json.dumps({"made": [asdict(e) for e in rows], "shares": shares, "wrong": wrong}))
    else:
        print(_told(rows, shares, wrong))
    return int(max(shares.values()) > BAR or bool(wrong))


def _told(rows: list[Made], shares: dict[str, float], wrong: list[str]) -> str:
    lines = [f"{'days':>6}{'seconds':>10}{'processor':>11}{'pictures':>10}{'encoded':>9}"]
    lines += [
        f"{e.days:6}{e.seconds:10.2f}{e.processor_s:11.2f}{e.pictures:10}{e.encoded:9}"
        for e in rows
    ]
    lines.append(
        f"\na day more costs {shares['seconds']:.1%} of the time and {shares['processor']:.1%} of "
        f"the processor time of the whole (at most {BAR:.0%})"
    )
    lines.append("plays without a break" if not wrong else "\n".join(["WRONG:", *wrong]))
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
