"""Somebody or something between camera and bench.

A visitor differs from the bench beyond what light explains (`lapsekit.vision.likeness`), in one
connected place, and is gone again. Each frame is compared with good frames before it, near in
time and near in hour, and with frames at least an hour after it; a place is explained if it is
like any one of those before, or two of those after. How unlike a place is on good days (leaves
that stir, a flower that follows the sun) is learned for each cell of the picture, so a moving
plant does not pass for a hand while a hand on still ground is seen at once.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import cv2
import numpy as np

from lapsekit.vision.comparing import Compared, where
from lapsekit.vision.likeness import PARTS, view_of
from lapsekit.vision.usual import minutes_apart

_LATEST, _SAME_HOUR, _FEWEST, _REMEMBERED = 3, 3, 3, 64
_SPAN = timedelta(days=4)
"""Frames further apart are not compared: a canopy that grows by a tenth a day has changed by half,
and the bench with it."""

_LATER = tuple(timedelta(hours=h) for h in (1, 2, 4, 20, 24))

_START = np.float32([0.08, 0.04, 0.05, 0.4])[:, None, None]
"""Unlikeness of good frames before anything is learned: the texture of leaves in another sun."""

_LEAST = np.float32([0.02, 0.015, 0.02, 0.4])[:, None, None]
"""What still ground shows, in log units: noise and JPEG of a thumbnail in steady light, but for
brightness a shadow that comes and goes (a factor of five is four times this)."""

_LEARNED_OVER = 40
_LEAST_EXCESS = 0.0015
"""Excess over `STRANGE`, summed over a connected place, as a share of the picture's cells: a
fingertip of something plain to see, or a hand of something hard to see."""

_UNTAUGHT = 3
"""Before anything is learned, a place must be more: four times at the first frame, twice
at the third."""

_COMPARABLE, _MANY = 0.4, 0.05
_EARLY, _STANDS_OUT = 8, 2
"""Where little is learned or most of the picture is strange, a frame must be strange over at least
twice as much of it as the frames around are to one another, or nothing can be said."""

_NO_STILL_GROUND = 0.10
"""Red to green that changes by so much, from one good frame to the next, in three quarters of the
picture: there is no ground to stand out from (light alone changes it by a few percent)."""


@dataclass(frozen=True)
class Presence:
    """What was found in a frame.

    Attributes
    ----------
    share : float
        Share of the picture that a visitor covers; 0 if there is none.
    place : str
        Where, in words.
    shining : bool
        Whether it is a burnt-out patch of light rather than a thing.
    watched : bool
        Whether there was enough to compare with.
    compared_with : int
        Number of frames to compare with.
    alone : bool
        Whether too few other frames lie around it, or not yet, to look for anybody.
    """

    share: float
    place: str
    shining: bool
    watched: bool
    compared_with: int
    alone: bool = False


NOBODY_LOOKED = Presence(0.0, "", False, False, 0)
ALONE = Presence(0.0, "", False, False, 0, alone=True)


@dataclass(frozen=True)
class Watched:
    """What watching has learned up to some frame, to go on with those after it.

    Attributes
    ----------
    good : tuple of int
        Numbers of the good frames of the last days that are remembered.
    taught : int
        Frames that have taught since the start.
    variance : ndarray of float32, shape (4, rows, columns)
        Mean square unlikeness of good frames, of each cell.
    """

    good: tuple[int, ...]
    taught: int
    variance: np.ndarray


def visitors(
    frames: Sequence[tuple[datetime, bytes]], learned: Watched | None = None
) -> tuple[list[Presence], int, Watched | None]:
    """Look for visitors in the frames of one camera.

    Parameters
    ----------
    frames : sequence of (datetime, bytes)
        Local time and thumbnail (JPEG) of each frame that is otherwise good, in order of time.
    learned : Watched, optional
        What an earlier look has learned: the frames that it calls good come first in `frames`,
        numbered from 0, and are not looked at again.

    Returns
    -------
    presences : list of Presence
        One for each frame that was looked at. With a frame of another shape than the one before,
        learning starts anew.
    settled : int
        How many of all `frames` have a presence that no later frame can change.
    learned : Watched or None
        What has been learned from these; None if none is settled.
    """
    before = len(learned.good) if learned else 0
    settled = sum(at <= frames[-1][0] - _LATER[-1] for at, _ in frames) if frames else 0
    watch, found = _Watch(frames, learned), []
    for number in range(before, len(frames)):
        found.append(watch.look(number))
        if number + 1 == settled:
            learned = watch.learned(number)
    return found, max(settled, before), learned


class _Watch:
    """Looks at frames in order of time and learns how unlike good ones are, cell by cell."""

    def __init__(self, frames: Sequence[tuple[datetime, bytes]], learned: Watched | None):
        self.frames = frames
        self.views: dict[int, np.ndarray] = {}
        self.good: deque[int] = deque(learned.good if learned else (), maxlen=_REMEMBERED)
        self.ahead = [0] * len(_LATER)
        self.variance = learned.variance.copy() if learned else np.zeros((0, 0, 0), np.float32)
        self.taught = learned.taught if learned else 0

    def learned(self, number: int) -> Watched:
        """What is known after a frame, without the good ones too far back to be asked again."""
        since = self.frames[number][0] - _SPAN
        good = tuple(n for n in self.good if self.frames[n][0] >= since)
        return Watched(good, self.taught, self.variance.copy())

    def look(self, number: int) -> Presence:
        """Look for a visitor in one frame; numbers must be asked for in order."""
        view = self._view(number)
        self._begin_anew_if_other(view.shape)
        before, after = self._before(number), self._after(number)
        if len(before) + len(after) < _FEWEST:
            self.good.append(number)
            return ALONE
        least = _LEAST_EXCESS * (1 + _UNTAUGHT / (1 + self.taught))
        compared = Compared(self._typical(), view, least)
        compared.with_any([self._view(n) for n in before[:_LATEST]])
        if compared.excess():
            compared.with_any([self._view(n) for n in before[_LATEST:]])
        if compared.excess():
            compared.with_two([self._view(n) for n in after])
        if compared.excess() and compared.strange_share() > _MANY and before:
            compared.moved_with(self._view(before[0]))
        return self._found(number, compared, before, after)

    def _found(
        self, number: int, compared: Compared, before: list[int], after: list[int]
    ) -> Presence:
        others = len(before) + len(after)
        if not compared.excess():
            self._learn(number, compared)
            return Presence(0.0, "", False, True, others)
        doubtful = self.taught < _EARLY or compared.strange_share() > 1 - _COMPARABLE
        if self._no_still_ground() or (
            doubtful and not self._stands_out(compared, before if len(before) > 2 else after)
        ):
            self._learn(number, compared)
            return NOBODY_LOOKED
        place = compared.place()
        shining = compared.shines(self.frames[number][1], place)
        return Presence(float(place.mean()), where(place), shining, True, others)

    def _begin_anew_if_other(self, shape: tuple[int, ...]) -> None:
        cells = (PARTS, shape[1] // 2, shape[2] // 2)
        if self.variance.shape != cells:
            self.variance, self.taught = np.broadcast_to(_START**2, cells).copy(), 0
            self.good.clear()

    def _view(self, number: int) -> np.ndarray:
        if number not in self.views:
            data = np.frombuffer(self.frames[number][1], np.uint8)
            self.views[number] = view_of(cv2.imdecode(data, cv2.IMREAD_COLOR_RGB))
        return self.views[number]

    def _before(self, number: int) -> list[int]:
        """The latest good frames, then those of the last days nearest in hour."""
        at = self.frames[number][0]
        near = [n for n in self.good if at - self.frames[n][0] <= _SPAN]
        latest = near[: -_LATEST - 1 : -1]
        rest = [n for n in near if n not in latest]
        rest.sort(key=lambda n: (minutes_apart(self.frames[n][0], at), -n))
        return latest + rest[:_SAME_HOUR]

    def _after(self, number: int) -> list[int]:
        """The first frames after each of some hours; not judged yet themselves."""
        found = []
        for k, lag in enumerate(_LATER):
            wanted = self.frames[number][0] + lag
            while self.ahead[k] < len(self.frames) and self.frames[self.ahead[k]][0] < wanted:
                self.ahead[k] += 1
            n = self.ahead[k]
            if n < len(self.frames) and n not in found:
                found.append(n)
        at, shape = self.frames[number][0], self._view(number).shape
        near = [n for n in found if self.frames[n][0] - at <= _SPAN]
        return [n for n in near if self._view(n).shape == shape]

    def _typical(self) -> np.ndarray:
        """Typical unlikeness of each cell and its neighbours (leaves cross cells)."""
        near = [cv2.dilate(cv2.blur(v, (3, 3)), np.ones((3, 3))) for v in self.variance]
        return np.sqrt(np.stack(near)) + _LEAST

    def _learn(self, number: int, compared: Compared) -> None:
        self.good.append(number)
        self.taught += 1
        weight = max(1 / _LEARNED_OVER, 1 / (self.taught + 1))
        self.variance += weight * (compared.unlike**2 - self.variance)
        needed = set(self.good)
        for old in [n for n in self.views if n <= number and n not in needed]:
            del self.views[old]

    def _no_still_ground(self) -> bool:
        return float(np.percentile(self._typical()[1], 25)) > _NO_STILL_GROUND

    def _stands_out(self, compared: Compared, others: list[int]) -> bool:
        """Whether a frame is stranger than those it was compared with are to one another."""
        views = [self._view(n) for n in others]
        shares = []
        for k, view in enumerate(views):
            one = Compared(self._typical(), view, _LEAST_EXCESS)
            one.with_any(views[:k] + views[k + 1 :])
            shares.append(one.strange_share())
        usual = float(np.median(shares)) if len(views) >= _FEWEST else 1.0
        return compared.strange_share() >= _STANDS_OUT * usual
