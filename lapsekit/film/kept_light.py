"""Light of frames, kept from run to run: levels in ``.cache/light/CAMERA/DAY.npz``, and what brings
frames to their slow light in ``.cache/light/CAMERA/corrections.json``.

Derived data: any of these files may be deleted at any time, and a damaged one counts as not there.
"""

import io
import json
import zipfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from datetime import date
from pathlib import Path

import numpy as np

from lapsekit.safely import remove_leftovers, write_safely
from lapsekit.vision.toning import Correction

FOLDER = Path(".cache") / "light"

_COMPANIES = 4
"""Corrections of one frame that are kept: films show it among other frames each."""


class KeptLight:
    """The kept levels of one camera.

    Parameters
    ----------
    season_folder : pathlib.Path
        The season's folder; nothing is made in it before anything is kept.
    camera : str
    """

    def __init__(self, season_folder: Path, camera: str):
        self._folder = season_folder / FOLDER / camera

    def of_day(self, day: date) -> dict[str, np.ndarray]:
        """Levels kept of a day's frames, (cells, 4) float16 each, by key."""
        try:
            with np.load(io.BytesIO(self._path(day).read_bytes())) as file:
                keys, levels = file["keys"], file["levels"]
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return {}
        if keys.ndim != 1 or levels.ndim != 3 or len(keys) != len(levels):
            return {}
        return dict(zip(map(str, keys), levels, strict=True))

    def keep(self, day: date, measured: Mapping[str, np.ndarray]) -> None:
        """Keep levels of a day's frames beside those of others of that day.

        Parameters
        ----------
        day : datetime.date
        measured : mapping of str to ndarray of float, shape (cells, 4)
            By key: the frame's name, a dot, and a mark of what its levels rest on. Levels of
            another mark are forgotten.
        """
        if not measured:
            return
        names = {key.partition(".")[0] for key in measured}
        others = {k: v for k, v in self.of_day(day).items() if k.partition(".")[0] not in names}
        kept = dict(sorted((others | dict(measured)).items()))
        out = io.BytesIO()
        levels = np.array(list(kept.values()), np.float16)
        np.savez(out, keys=np.array(list(kept)), levels=levels)
        _write(self._path(day), out.getvalue())

    def _path(self, day: date) -> Path:
        return self._folder / f"{day}.npz"


class KeptCorrections:
    """The kept corrections of one camera's frames, by the frame's name and a mark.

    Parameters
    ----------
    season_folder : pathlib.Path
        The season's folder; nothing is made in it before anything is kept.
    camera : str
    """

    def __init__(self, season_folder: Path, camera: str):
        self._path = season_folder / FOLDER / camera / "corrections.json"
        self._kept = self._read()

    def _read(self) -> dict[str, dict[str, Correction]]:
        try:
            plain = json.loads(self._path.read_text("utf-8"))
            return {
                name: {mark: _correction(*parts) for mark, parts in kept.items()}
                for name, kept in plain.items()
            }
        except (OSError, ValueError, TypeError, AttributeError, OverflowError):
            return {}

    def get(self, name: str, mark: str) -> Correction | None:
        """The correction of a frame that rests on what the mark says; None if it is not kept."""
        return self._kept.get(name, {}).get(mark)

    def keep(self, found: Iterable[tuple[str, str, Correction]]) -> None:
        """Keep these, by name and mark, and of each frame a few of before."""
        kept: dict[str, dict[str, Correction]] = {}
        for name, mark, correction in found:
            before = {m: c for m, c in self._kept.get(name, {}).items() if m != mark}
            kept[name] = dict([*before.items(), (mark, correction)][-_COMPANIES:])
        if kept.items() <= self._kept.items():
            return
        self._kept |= kept
        plain = {
            name: {mark: [c.log_gains, c.field, c.shape] for mark, c in each.items()}
            for name, each in sorted(self._kept.items())
        }
        _write(self._path, json.dumps(plain).encode())


def _correction(log_gains, field, shape) -> Correction:
    if (len(log_gains), len(field), len(shape)) != (3, 5, 2):
        raise ValueError("not a correction")
    return Correction.of(log_gains, field, shape)


def _write(path: Path, content: bytes) -> None:
    with suppress(OSError):  # an earlier season's folder need not let us write: it is a cache
        path.parent.mkdir(parents=True, exist_ok=True)
        remove_leftovers(path.parent)
        write_safely(path, content)
