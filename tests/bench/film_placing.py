"""What it costs to place a frame in a film's picture, beside decoding that frame.

    python -m tests.bench.film_placing [--size 1920x1080] [--json]

Drawn frames of three sizes (960 x 720, 2028 x 1520, 4056 x 3040), turned by 0.2 degrees, are
decoded from JPEG as small as the film allows and placed; once sharp, as for a window that stands
still (one placing a frame, however many pictures of the film are painted from it), and once
quick, as for a window that moves with every picture. Beside it: a fade, and a picture moved
between two. Processor time of one thread, the least of some runs.
"""

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass

import cv2
import numpy as np

from lapsekit.film.blending import between_pictures, cross_fade, flow_between
from lapsekit.film.warping import film_to_frame, place, reduction_for
from lapsekit.vision.pictures import decode_reduced
from tests.bench.rows import Row
from tests.scenes import encoded
from tests.vision.benches import bench, developed, movement

FRAMES = ((960, 720), (2028, 1520), (4056, 3040))
RUNS = 9


@dataclass
class Cost:
    """Milliseconds, and the same over decoding the frame at the size the film needs."""

    what: str
    ms: float
    of_decoding: float


def drawn(size: tuple[int, int]) -> np.ndarray:
    light = np.repeat(bench(size[::-1])[..., None], 3, 2) * [1.0, 0.9, 0.75]
    return developed(1.5 * light, noise=2.0)


def cost_ms(work: Callable[[], object]) -> float:
    spent = []
    for _ in range(RUNS):
        began = time.process_time()
        work()
        spent.append(time.process_time() - began)
    return 1000 * min(spent)


def costs(film: tuple[int, int]) -> list[Cost]:
    found, placed = [], []
    for size in FRAMES:
        shape = size[::-1]
        data = encoded(drawn(size), "JPEG", quality=90)
        scale = 0.97 * size[0] / film[0]
        window = np.array([[scale, 0, 9], [0, scale, 9], [0, 0, 1.0]])
        turn = movement(shape, (3.3, -2.1), 0.2)
        by = reduction_for(film_to_frame(turn, window), film)
        frame = decode_reduced(data, by, shape)
        decoding = cost_ms(lambda d=data, b=by, s=shape: decode_reduced(d, b, s))
        name = f"{size[0]} x {size[1]}"
        found.append(Cost(f"{name}, decoded {by} times smaller", decoding, 1.0))
        for quick in (False, True):
            spent = cost_ms(
                lambda f=frame, t=turn, w=window, b=by, q=quick: place(f, t, w, film, b, quick=q)
            )
            how = "quick" if quick else "sharp"
            found.append(Cost(f"{name}, placed, {how}", spent, spent / decoding))
        placed.append(place(frame, turn, window, film, by))
    first, second = placed[0], np.roll(placed[0], 3, 1)
    flow = flow_between(first, second)
    for what, work in (
        ("a fade", lambda: cross_fade(first, second, 0.4)),
        ("movement looked for, once for two frames", lambda: flow_between(first, second)),
        ("a picture moved between two", lambda: between_pictures(first, second, 0.4, flow)),
    ):
        spent = cost_ms(work)
        found.append(Cost(what, spent, spent / found[0].ms))
    return found


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    cv2.setNumThreads(1)
    for cost in costs((480, 270) if quick else (1920, 1080)):
        if cost.of_decoding != 1.0:
            beside = "decoding it" if " x " in cost.what else "decoding a frame, 960 x 720"
            yield Row(f"film: {cost.what}", beside, cost.of_decoding, told=f"{cost.ms:.1f} ms")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--size", default="1920x1080")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    rows = costs(tuple(map(int, given.size.split("x"))))
    if given.json:
        print(json.dumps([asdict(row) for row in rows]))
    else:
        for row in rows:
            print(f"{row.what:44}{row.ms:8.1f} ms{row.of_decoding:8.2f} x decoding")
    return 0


if __name__ == "__main__":
    sys.exit(main())
