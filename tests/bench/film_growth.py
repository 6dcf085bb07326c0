"""What a day more costs a film that grows daily, and whether it still plays without a break.

    python -m tests.bench.film_growth [--days 365] [--beats 12] [--height 720] [--json]

A made-up film at constant time, so many pictures a day, each day fading into the next, is encoded
whole, and joined with chapters and captions of every day. Then a day is added, three times: the
last day fades into the new one now, so two days are encoded and all are joined again. The median
may cost at most 5 % of the whole. The film that grew must show what one made at once shows, which
ffprobe, ffmpeg and Chromium look at.
"""

import argparse
import hashlib
import json
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median

import cv2
import numpy as np

from lapsekit.film.encoding import RECIPES
from lapsekit.film.joining import join
from lapsekit.film.segments import Job, make_segments, prune
from lapsekit.film.tracks import Cue
from lapsekit.serving import open_server
from tests.browsing import CHROMIUM_ARGUMENTS, running
from tests.film.made_films import PER_SECOND, number_of, probed, times

MORNINGS = 3
BAR = 0.05
_PLANTS = 8
_BLOCK = 16


@dataclass
class Made:
    """One making of the film: seconds on the clock and of processors, and what it encoded."""

    days: int
    seconds: float
    processor_s: float
    join_s: float
    encoded: int
    pruned: int


class Story:
    """Days of a bench whose plants grow, in pictures that say which they are."""

    def __init__(self, height: int, beats: int, days: int):
        self.size = (height * 16 // 9 // 2 * 2, height)
        self.beats, self._days = beats, days
        noise = np.random.default_rng(8).integers(0, 256, (*self.size[::-1], 3), np.uint8)
        self._ground = cv2.GaussianBlur(noise, (0, 0), 2) // 2 + 60

    def day(self, number: int) -> np.ndarray:
        """The picture of a day: its own light, its own noise, leaves a little larger."""
        chance = np.random.default_rng(number)
        picture = cv2.convertScaleAbs(self._ground, alpha=chance.uniform(0.9, 1.1))
        width, height = self.size
        radius = height * (0.02 + 0.2 * number / self._days)
        for plant in range(_PLANTS):
            at = (round(width * (plant % 4 + 0.5) / 4), round(height * (plant // 4 + 0.5) / 2))
            for leaf in range(9):
                turn = 0.7 * leaf + 0.02 * number + plant
                end = (
                    round(at[0] + radius * np.cos(turn)),
                    round(at[1] + radius * np.sin(turn)),
                )
                thick = max(2, round(radius * 0.25))
                cv2.line(picture, at, end, (60 + 9 * leaf, 140 - 6 * plant, 40), thick, cv2.LINE_AA)
        return cv2.add(picture, chance.integers(0, 9, picture.shape, np.uint8))

    def job(self, number: int, last: bool) -> Job:
        """A day's segment; the last day stands still, any other fades into the next."""

        def pictures():
            today = self.day(number)
            tomorrow = today if last else self.day(number + 1)
            for beat in range(self.beats):
                share = max(0.0, (beat - self.beats / 2) / (self.beats / 2))
                picture = cv2.addWeighted(today, 1 - share, tomorrow, share, 0)
                _sign(picture, number * self.beats + beat)
                yield picture

        return Job(f"{self.size} {self.beats} {number} {last}", self.beats, pictures)


def _sign(picture: np.ndarray, number: int) -> None:
    for bit in range(13):
        picture[-_BLOCK:, bit * _BLOCK : (bit + 1) * _BLOCK] = 235 if number >> bit & 1 else 20


def make(folder: Path, story: Story, days: int) -> Made:
    """Make, or make longer, the film of so many days."""
    began, used = time.perf_counter(), time.process_time()
    parts, encoded = folder / "parts", []
    jobs = [story.job(number, number == days - 1) for number in range(days)]

    def track(items, total, label):
        encoded.append(total)
        yield from items

    recipe = RECIPES["web"]
    segments = make_segments(parts, jobs, recipe, PER_SECOND, track=track)
    joining = time.perf_counter()
    step = story.beats / PER_SECOND
    captions = [Cue(n * step, (n + 1) * step, f"Day {n + 1}") for n in range(days)]
    chapters = [
        Cue(n * step, min(n + 14, days) * step, f"Week {n // 7 + 1}") for n in range(0, days, 14)
    ]
    join(folder / "film.mp4", segments, PER_SECOND, chapters=chapters, captions=captions)
    joined = time.perf_counter() - joining
    pruned = prune(parts, segments)
    spent = time.perf_counter() - began, time.process_time() - used, joined
    return Made(days, *(round(each, 3) for each in spent), encoded[0], pruned)


def broken(film: Path, days: int, beats: int) -> list[str]:
    """What ffprobe, ffmpeg and Chromium find wrong with the film."""
    count, found = days * beats, []
    told = probed(film)
    video = told["streams"][0]
    if int(video["nb_read_frames"]) != count:
        found.append(f"{video['nb_read_frames']} pictures instead of {count}")
    if abs(float(video["duration"]) - count / PER_SECOND) > 1e-3:
        found.append(f"lasts {video['duration']} s")
    if len(told["chapters"]) != -(-days // 14):
        found.append(f"{len(told['chapters'])} chapters")
    decoded, shown = np.array(times(film)).T
    if not np.allclose(np.sort(shown), np.arange(count) / PER_SECOND, atol=2e-6):
        found.append("times of pictures have a break")
    if not np.allclose(np.diff(decoded), 1 / PER_SECOND, atol=3e-6):
        found.append("times of decoding have a break")
    return found + _browsed(film, count)


def decoded_hash(film: Path) -> str:
    """Hash of all its pictures as ffmpeg decodes them, without a complaint."""
    command = ["ffmpeg", "-v", "error", "-i", film, "-map", "0:v", "-f", "rawvideo", "-"]
    digest = hashlib.sha256()
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as done:
        while block := done.stdout.read(1 << 20):
            digest.update(block)
        said = done.stderr.read()
    return digest.hexdigest() if not said else said.decode()


def _browsed(film: Path, count: int) -> list[str]:
    """Seeks over the whole film, about its joints, and plays its last seconds."""
    from playwright.sync_api import sync_playwright

    from tests.film.test_films_in_browser import DRAWN, SOUGHT

    chance, found = np.random.default_rng(1), []
    (film.parent / "index.html").write_text(
        f"<!doctype html><video src='{film.name}' muted preload='auto'></video><canvas></canvas>"
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
        for number in [0, count - 1, *chance.integers(0, count, 20).tolist()]:
            page.evaluate(SOUGHT, (number + 0.5) / PER_SECOND)
            rows = np.array(page.evaluate(DRAWN, _BLOCK), np.uint8).reshape(_BLOCK, -1, 4)
            if number_of(rows[..., :3], 13) != number:
                found.append(f"picture {number_of(rows[..., :3], 13)} at that of {number}")
        ended = page.evaluate(
            """(from) => new Promise((done) => { const video = document.querySelector('video');
            video.onended = () => done(true); video.onerror = () => done(false);
            video.onseeked = () => video.play(); video.currentTime = from; })""",
            max(0, count / PER_SECOND - 4),
        )
    return found if ended else [*found, "does not play to its end"]


def main(arguments: list[str] | None = None) -> int:
    """Measure, tell, and say by the exit code whether the bar is kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--beats", type=int, default=12, help="pictures a day")
    parser.add_argument("--height", type=int, default=720, help="of the pictures, in px")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    story = Story(asked.height, asked.beats, asked.days + MORNINGS)
    with tempfile.TemporaryDirectory() as folder:
        grown, fresh = Path(folder, "grown"), Path(folder, "fresh")
        grown.mkdir()
        fresh.mkdir()
        whole = make(grown, story, asked.days)
        mornings = [make(grown, story, asked.days + n + 1) for n in range(MORNINGS)]
        wrong = broken(grown / "film.mp4", asked.days + MORNINGS, asked.beats)
        make(fresh, story, asked.days + MORNINGS)
        if decoded_hash(grown / "film.mp4") != decoded_hash(fresh / "film.mp4"):
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
    lines = [f"{'days':>6}{'seconds':>10}{'processor':>11}{'of it join':>12}{'encoded':>9}"]
    lines += [
        f"{e.days:6}{e.seconds:10.2f}{e.processor_s:11.2f}{e.join_s:12.2f}{e.encoded:9}"
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
