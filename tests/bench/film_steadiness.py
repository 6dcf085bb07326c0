"""How still a season's film stands: static corners followed through it, before and after.

    python -m tests.bench.film_steadiness --season DIR [--every N] [--stills DIR] [--json]

DIR is the sample season, measured (`lapsekit demo`); nothing is written to it. Its film is painted
at 1920 x 1080, of daily pictures and of all usable frames, in three ways: frames as they are,
each by its own placement, and steadied. Movement is told twice:

* by the *true camera* (truth/camera.csv): where the film puts points of the bench, over a grid of
  its window; exact, and it knows nothing of how frames were placed;
* by *tracking*: corners of what never is canopy (by the true masks) are found in the median of
  the film's pictures and looked for in each, by pyramidal Lucas and Kanade on luminance freed of
  light, there and back; each of 4 x 3 parts of the picture moves as the median of its corners.
  What a shadow carried off is dropped; what it merely pushes stays in the number.

RMS is of the distance of each corner from its mean place over the season, in px of the film. A
frame that was not registered is not shown. The bar: less than 0.25 px, knock inside.
"""

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np

from lapsekit.film.framing import framed
from lapsekit.film.warping import place, reduction_for
from lapsekit.sample import has_true_shapes, true_shapes, true_views
from lapsekit.season import Season
from lapsekit.viewing import View, matrix_of
from lapsekit.vision.evening import evened, log_luma
from lapsekit.vision.homographies import project
from lapsekit.vision.knocks import knocks
from lapsekit.vision.pictures import decode_reduced
from lapsekit.vision.steadying import steadied
from tests.conftest import CHECKOUT

NEEDS = "a measured sample season (--season DIR)"

SAMPLE = CHECKOUT / "sample_frames"
SIZE = (1920, 1080)
BAR_PX = 0.25
CORNERS, FAR_PX, BACK_PX, SEEN_SHARE = 600, 30.0, 0.3, 0.4
MEDIAN_OF, LEAST_CORNERS = 24, 4
LOOK = {"winSize": (41, 41), "maxLevel": 4}


@dataclass
class Moved:
    """Movement of one film, in px: RMS by the true camera, and of tracked corners.

    `steps` are the same from one picture to the next, over the root of two; `tracker_rms` is what
    the tracker is off the true camera.
    """

    film: str
    way: str
    pictures: int
    true_rms: float
    true_worst: float
    true_steps: float
    tracked_rms: float
    tracked_steps: float
    tracker_rms: float
    parts: int


class Material:
    """The season's registered frames, their placements in three ways, and the truth."""

    def __init__(self, folder: Path):
        self.season = Season(folder)
        camera = next(iter(self.season.settings.cameras))
        view = View(self.season, camera)
        rows = [
            (frame, matrix_of(found), found.error_px)
            for frame, found in self.season.catalogue.placements(camera)
            if found.matrix is not None and view.fits(frame)
        ]
        self.frames = [frame for frame, *_ in rows]
        self.shape = (self.frames[0].height, self.frames[0].width)
        measured = [matrix for _, matrix, _ in rows]
        self.knocks = knocks(measured, self.shape)
        calm = steadied(
            measured,
            [error for *_, error in rows],
            [self._at_days(frame.taken_at) for frame in self.frames],
            self.knocks,
            self.shape,
        )
        self.ways = {"as they are": [None] * len(rows), "each placed": measured, "steadied": calm}
        views = true_views(SAMPLE)
        back = np.linalg.inv(views[view.frame.path].matrix)
        self.true = [views[frame.path].matrix @ back for frame in self.frames]
        self.framing = framed(calm, self.shape, SIZE, self.knocks)
        usable = self.season.usable_frames(camera)
        paths = {frame.path for frames in usable.values() for frame in frames}
        daily = {frame.path for frame in self.season.daily_pictures()[camera].values()}
        out = set(self.framing.left_out)
        self.films = {
            name: [k for k, f in enumerate(self.frames) if f.path in among and k not in out]
            for name, among in (("daily", daily), ("all", paths))
        }

    def _at_days(self, moment: datetime) -> float:
        local = moment.astimezone(self.season.zone)
        return local.toordinal() + (local.hour * 60 + local.minute) / 1440

    def picture(self, k: int, way: str) -> np.ndarray:
        """A frame as the film shows it."""
        window = self.framing.stretches[self.framing.stretch_of(k)].window
        placement = self.ways[way][k]
        to_frame = window.matrix if placement is None else placement @ window.matrix
        by = reduction_for(to_frame, SIZE)
        data = self.season.archive.read(self.frames[k].path)
        return place(decode_reduced(data, by, self.shape), placement, window.matrix, SIZE, by)

    def film_points(self, k: int, way: str, points: np.ndarray) -> np.ndarray:
        """Where the film truly shows points (n, 2) of the reference view."""
        window = self.framing.stretches[self.framing.stretch_of(k)].window.matrix
        placement = self.ways[way][k]
        shown = window if placement is None else placement @ window
        return project(np.linalg.inv(shown) @ self.true[k], points)

    def static(self) -> np.ndarray:
        """What never is canopy, in px of the film: 255, else 0."""
        never = np.zeros(self.shape, np.uint8)
        for k, frame in enumerate(self.frames):
            if has_true_shapes(SAMPLE, frame):
                shapes = (true_shapes(SAMPLE, frame) > 0).astype(np.uint8)
                flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
                never |= cv2.warpPerspective(shapes, self.true[k], self.shape[::-1], flags=flags)
        window = self.framing.stretches[0].window.matrix
        grown = cv2.dilate(never, np.ones((13, 13), np.uint8))
        seen = cv2.warpPerspective(grown, window, SIZE, flags=cv2.INTER_NEAREST | 16, borderValue=1)
        return np.where(seen > 0, 0, 255).astype(np.uint8)


def grid() -> np.ndarray:
    """Places of the film at which the true camera is asked."""
    x, y = np.linspace(0, SIZE[0] - 1, 9), np.linspace(0, SIZE[1] - 1, 7)
    return np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)


def rms(off: np.ndarray) -> float:
    """Root mean square length of moves (..., 2), of those that are known."""
    return float(np.sqrt(np.nanmean((off**2).sum(-1))))


def steps(places: np.ndarray) -> float:
    """The same of moves from one picture to the next, as those of a single one."""
    return rms(np.diff(places, axis=0)) / 2**0.5


def true_places(material: Material, film: str, way: str) -> np.ndarray:
    window = material.framing.stretches[0].window.matrix
    points = project(window, grid())
    return np.array([material.film_points(k, way, points) for k in material.films[film]])


def pattern(picture: np.ndarray) -> np.ndarray:
    fine = evened(log_luma(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)))
    return np.clip(128 + 40 * fine, 0, 255).astype(np.uint8)


def usual_pattern(material: Material) -> np.ndarray:
    """The median pattern of the daily film: its shadows lie elsewhere every day, and drop out."""
    order = material.films["daily"]
    chosen = order[:: max(1, len(order) // MEDIAN_OF)]
    return np.median([pattern(material.picture(k, "steadied")) for k in chosen], 0).astype(np.uint8)


def tracked_moves(material: Material, film: str, way: str, usual, corners, given) -> np.ndarray:
    """Moves (pictures, corners, 2) of static corners; NaN where one was not found again."""
    order = material.films[film][:: given.every]
    found = []
    for number, k in enumerate(order):
        picture = material.picture(k, way)
        if given.stills and number % max(1, len(order) // 6) == 0:
            name = f"{film}-{way.replace(' ', '-')}-{number:03d}.png"
            cv2.imwrite(str(given.stills / name), picture[:, :, ::-1])
        found.append(followed(usual, pattern(picture), corners) - corners)
    return np.array(found)


def corners_in(picture: np.ndarray, static: np.ndarray) -> np.ndarray:
    """Places (corners, 2) of what can be followed both ways."""
    found = cv2.goodFeaturesToTrack(picture, CORNERS, 0.02, 20, mask=static, blockSize=15)
    return found[:, 0]


def followed(first: np.ndarray, now: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Places (corners, 2) of corners of one picture in another; NaN where they do not come back."""
    there, seen, _ = cv2.calcOpticalFlowPyrLK(first, now, corners, None, **LOOK)
    back, again, _ = cv2.calcOpticalFlowPyrLK(now, first, there, None, **LOOK)
    lost = ((seen & again) == 0)[:, 0] | (np.linalg.norm(back - corners, axis=-1) > BACK_PX)
    there[lost] = np.nan
    return there


def in_parts(moves: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Median move of the corners in each of 4 x 3 parts of the picture: (pictures, parts, 2).

    Each is told from its mean over the season. A shadow's edge that passes a corner pushes it and
    not its neighbours; the camera moves all.
    """
    with_picture = moves - np.nanmedian(moves, 1, keepdims=True)
    mistaken = np.linalg.norm(with_picture, axis=-1) > FAR_PX
    moves = np.where(mistaken[..., None], np.nan, moves)
    often = np.isfinite(moves[..., 0]).mean(0) >= SEEN_SHARE
    moves = moves[:, often] - np.nanmean(moves[:, often], 0)
    across, down = (corners[often] // (SIZE[0] / 4, SIZE[1] / 3)).astype(int).T
    numbers = 3 * across + down
    full = [n for n in range(12) if (numbers == n).sum() >= LEAST_CORNERS]
    parts = np.stack([middle_of(moves[:, numbers == n]) for n in full], 1)
    return parts - np.nanmean(parts, 0)


def middle_of(moves: np.ndarray) -> np.ndarray:
    """Median (pictures, 2) of moves (pictures, corners, 2); NaN where too few are known."""
    known = np.isfinite(moves[..., 0]).sum(1) >= LEAST_CORNERS
    found = np.full((len(moves), 2), np.nan)
    found[known] = np.nanmedian(moves[known], 1)
    return found


def moved(material: Material, film: str, way: str, usual, corners, given) -> Moved:
    true = true_places(material, film, way)
    off = true - true.mean(0)
    moves = tracked_moves(material, film, way, usual, corners, given)
    points = project(material.framing.stretches[0].window.matrix, corners)
    order = material.films[film][:: given.every]
    truly = np.array([material.film_points(k, way, points) for k in order]) - corners
    parts = in_parts(moves, corners)
    slips = in_parts(moves - truly, corners)
    return Moved(
        film,
        way,
        len(material.films[film]),
        rms(off),
        float(np.linalg.norm(off, axis=-1).max()),
        steps(true),
        rms(parts),
        steps(parts),
        rms(slips),
        parts.shape[1],
    )


def told(rows: list[Moved], material: Material) -> str:
    lines = [
        f"{len(material.knocks)} lasting changes of view; {len(material.framing.stretches)} "
        f"window(s), {material.framing.stretches[0].window.enlarged:.2f} film px to a frame px",
        f"{'film':7}{'frames':14}{'pictures':>9}{'true RMS':>10}{'worst':>8}{'steps':>8}"
        f"{'tracked RMS':>13}{'steps':>8}{'tracker off':>13}{'parts':>7}   px",
    ]
    lines += [
        f"{r.film:7}{r.way:14}{r.pictures:9d}{r.true_rms:10.3f}{r.true_worst:8.3f}"
        f"{r.true_steps:8.3f}{r.tracked_rms:13.3f}{r.tracked_steps:8.3f}{r.tracker_rms:13.3f}{r.parts:7d}"
        for r in rows
    ]
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--season", type=Path, required=True)
    parser.add_argument("--every", type=int, default=1, help="track in one picture of so many")
    parser.add_argument("--stills", type=Path, help="folder for a few pictures of each film")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    material = Material(given.season)
    usual = usual_pattern(material)
    corners = corners_in(usual, material.static())
    if given.stills:
        given.stills.mkdir(parents=True, exist_ok=True)
    rows = [
        moved(material, film, way, usual, corners, given)
        for film in material.films
        for way in material.ways
    ]
    print(json.dumps([asdict(row) for row in rows]) if given.json else told(rows, material))
    good = all(max(row.true_rms, row.tracked_rms) < BAR_PX for row in rows if row.way == "steadied")
    print(f"steadied, under {BAR_PX} px RMS: {'yes' if good else 'NO'}", file=sys.stderr)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
