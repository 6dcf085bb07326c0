"""What redrawing a mask costs after each stroke, against measuring the frame anew.

    python tests/bench/painted_strokes.py [--season DIR] [--strokes N]

Strokes are tried one after another on a frame of the sample season, and on the same frame enlarged
to 4000 × 3000 px, which is measured at a quarter. From the stroke received to the PNG ready;
first with one stroke, then with all. Wall time counts what else the machine does; the ratios are of
processor time and were measured in one run. Measuring anew reads colours.csv and one frame.
"""

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from lapsekit.ruler import Ruler
from lapsekit.season import COLOURS_FILE, Season
from lapsekit.trust import trust
from lapsekit.trying_colours import Trial
from lapsekit.vision.strokes import Stroke, write_strokes
from tests.bench.measuring_cost import WIDTH, enlarge

MOST_MS = 300


def strokes_on(frame, count: int) -> list[Stroke]:
    """Strokes of forty points all over a frame, in turn of plant and of other things."""
    chance, size = np.random.default_rng(1), np.array([frame.width, frame.height])
    found = []
    for number in range(count):
        turn = np.linspace(0, 2, 40)[:, None]
        way = np.hstack([np.cos(turn), np.sin(turn)]) * chance.uniform(0.02, 0.06)
        points = (chance.uniform(0.08, 0.92, 2) + way) * size
        points = tuple((float(x), float(y)) for x, y in points.round(1))
        found.append(Stroke(frame.path, number % 2 == 0, frame.width / 160, points))
    return found


def _timed(work) -> tuple[float, float, object]:
    """Milliseconds by the wall and of the processor, and what came of the work."""
    wall, spent = time.perf_counter(), time.process_time()
    found = work()
    return 1e3 * (time.perf_counter() - wall), 1e3 * (time.process_time() - spent), found


def prove(folder: Path, name: str, count: int) -> float:
    """Try strokes on a season's middle frame, print a line; the slowest redrawing in ms."""
    season = Season(folder)
    season.index()
    frames = season.catalogue.frames()
    frame = frames[len(frames) // 2]
    strokes = strokes_on(frame, count)
    ready, _, trial = _timed(lambda: Trial(season, frame))
    walls, spent, sizes = [], [], []
    for number in range(1, count + 1):
        wall, cpu, mask = _timed(lambda given=strokes[:number]: trial.with_strokes(given))
        walls.append(wall), spent.append(cpu), sizes.append(len(mask.veil))
    (folder / COLOURS_FILE).write_text(write_strokes(strokes))
    _, anew, _ = _timed(lambda: Ruler(Season(folder)).measure(frame))
    print(
        f"{name:22} {ready:9.0f} {np.median(walls):9.0f} {max(walls):9.0f} {np.median(spent):8.0f} "
        f"{anew / np.median(spent):12.1f} x {max(sizes) / 1e3:9.0f}"
    )
    return max(walls)


def main() -> None:
    """Print the table; leave with 1 if a mask took longer than it may."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--season", type=Path, default=Path("sample_frames"))
    parser.add_argument("--strokes", type=int, default=12)
    given = parser.parse_args()
    print(
        f"{'frame':22} {'ready ms':>9} {'median ms':>9} {'worst ms':>9} {'cpu ms':>8} "
        f"{'measured anew':>14} {'PNG kB':>9}"
    )
    with tempfile.TemporaryDirectory() as place:
        plain, large = Path(place) / "plain", Path(place) / "large"
        for folder in (plain, large):
            folder.mkdir()
            trust(folder)
        for name in ("season.toml", "regions.toml"):
            (plain / name).write_text((given.season / name).read_text("utf-8"))
        (plain / "frames").symlink_to((given.season / "frames").resolve())
        enlarge(given.season, large, 3, WIDTH)
        worst = max(
            prove(plain, "as it is", given.strokes),
            prove(large, f"{WIDTH} px wide", given.strokes),
        )
    raise SystemExit(int(worst > MOST_MS))


if __name__ == "__main__":
    main()
