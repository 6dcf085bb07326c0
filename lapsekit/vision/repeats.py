"""The same picture handed over again: a sensor's noise never repeats, a stuck camera does."""

import base64
from collections import deque
from collections.abc import Sequence
from copy import copy
from datetime import datetime, tzinfo

import numpy as np

_LOOKED_AT = 40
_PAIRS, _FIRST_PAIRS = 10, 4
_FLOOR, _SHARE = 0.002, 0.5


class Repeats:
    """Compares a frame's grain with that of the forty frames before it.

    Grain is compared by 1 − correlation. Two exposures share the texture of the bench but not the
    noise, and light and leaves moved; how like a new picture is to the one before that is most
    like it is learned. A picture encoded once more differs by far less: less than half of what
    the most alike new ones (second percentile) differ is a repeat. Before ten are known, half of
    half the median among the season's first frames stands in for that, which the repeats among
    them do not move as long as they are few; before even these are there, only what is equal but
    for rounding (0.002) counts.

    Parameters
    ----------
    start : sequence of bytes
        Grain of the season's first frames.
    """

    def __init__(self, start: Sequence[bytes] = ()) -> None:
        self._before: deque[tuple[datetime, bytes]] = deque(maxlen=_LOOKED_AT)
        self._levels = np.empty((0, 0))
        self._unlike: deque[float] = deque(maxlen=6 * _LOOKED_AT)
        self._at_first = max(_FLOOR, _SHARE * _SHARE * _typical_unlike(start))

    def copy(self) -> "Repeats":
        """One that stays as it is while this one goes on."""
        twin = copy(self)
        twin._before, twin._unlike = self._before.copy(), self._unlike.copy()
        return twin

    def as_plain(self) -> dict[str, object]:
        """All that is remembered, for JSON; `from_plain` takes it back."""
        return {
            "before": [[at.isoformat(), base64.b64encode(g).decode()] for at, g in self._before],
            "unlike": list(self._unlike),
            "at_first": self._at_first,
        }

    @classmethod
    def from_plain(cls, plain: dict, zone: tzinfo | None) -> "Repeats":
        """What `as_plain` gave, remembered again, with times in `zone`."""
        repeats = cls()
        for at, grain in plain["before"]:
            moment = datetime.fromisoformat(at).astimezone(zone)
            repeats._remember(moment, base64.b64decode(grain))
        repeats._unlike.extend(plain["unlike"])
        repeats._at_first = plain["at_first"]
        return repeats

    def same_as(self, at: datetime, grain: bytes) -> datetime | None:
        """When the picture was first seen, if this one repeats it; a new one is remembered."""
        levels = _standard(grain)
        if self._before and levels.any():
            alike = self._levels @ levels
            nearest = int(np.argmax(alike))
            unlike = 1 - float(alike[nearest])
            if unlike <= self._most():
                return self._before[nearest][0]
            self._unlike.append(unlike)
        self._remember(at, grain)
        return None

    def _remember(self, at: datetime, grain: bytes) -> None:
        self._before.append((at, grain))
        levels, kept = _standard(grain), self._levels[1 - _LOOKED_AT :]
        self._levels = np.vstack([kept, levels]) if len(kept) else levels[None]

    def _most(self) -> float:
        if len(self._unlike) < _PAIRS:
            return self._at_first
        few = sorted(self._unlike)[int(0.02 * (len(self._unlike) - 1))]
        return max(_SHARE * few, 1e-6)


def _typical_unlike(start: Sequence[bytes]) -> float:
    """Median unlikeness of the first frames to the one before that is most like; 0 if too few."""
    levels = [_standard(grain) for grain in start]
    nearest = [1 - max(float(level @ b) for b in levels[:k]) for k, level in enumerate(levels) if k]
    return float(np.median(nearest)) if len(nearest) >= _FIRST_PAIRS else 0.0


def _standard(grain: bytes) -> np.ndarray:
    """Levels with mean 0 and norm 1; all 0 where the picture has no grain at all."""
    levels = np.frombuffer(grain, np.int8).astype(np.float64)
    levels = levels - levels.mean()
    norm = float(np.linalg.norm(levels))
    return levels / norm if norm else levels
