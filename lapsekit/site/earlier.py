"""An earlier season that this one is held against: its curves and pictures by plant age.

Of its folder files are only read, and nothing in it is run (a catalogue of an older form is brought
to today's, as whenever it is opened). Its curves take seconds to work out and change no more once
that season is over, so they are kept in this season's ``.cache`` until a file of it that they rest
on changes.
"""

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from lapsekit import __version__
from lapsekit.besides import line_of
from lapsekit.catalogue import Frame
from lapsekit.errors import LapsekitError, SeasonError
from lapsekit.growing import ARITHMETIC, grow
from lapsekit.growth.alignment import Line
from lapsekit.safely import write_safely
from lapsekit.season import CATALOGUE_FILE, REGIONS_FILE, SETTINGS_FILE, Season

CACHE_FILE = "earlier.json"
#: Raised by hand when the same earlier season gives other curves.
_FORM = 1


@dataclass(frozen=True)
class Earlier:
    """What of an earlier season is shown.

    Attributes
    ----------
    season : Season
        Opened; whoever asked closes its catalogue.
    title : str
    sown : date
    lines : dict of str to Line
        Curves by plant age in days, of regions that have one.
    pictures : dict of date to Frame
        Daily pictures of its main camera.
    """

    season: Season
    title: str
    sown: date
    lines: Mapping[str, Line]
    pictures: Mapping[date, Frame]


def open_earlier(season: Season) -> tuple[Earlier | None, list[str]]:
    """The earlier season that settings name, and what is wrong with it.

    Parameters
    ----------
    season : Season
        This season; in its ``.cache`` the curves are kept.

    Returns
    -------
    Earlier or None
        None where none is named, or it cannot be read.
    list of str
        Why not, and what to do.
    """
    if season.settings.site.earlier is None:
        return None, []
    folder = (season.folder / season.settings.site.earlier).resolve()
    try:
        return _opened(season, folder), []
    except (LapsekitError, OSError) as error:
        return None, [
            f"{folder}: the page beside an earlier season is left out ({error}); let earlier in "
            f"[site] of {SETTINGS_FILE} name that season's folder, or take the line out"
        ]


def _opened(season: Season, folder: Path) -> Earlier:
    if folder == season.folder.resolve():
        raise SeasonError("it is this season itself")
    then = Season(folder, season.clock)
    if not (folder / CATALOGUE_FILE).is_file():  # it would be made
        raise SeasonError(f"there is no {CATALOGUE_FILE} in it")
    mark = _mark(folder)  # before it is opened, which may touch it
    pictures = then.daily_pictures()
    main = next((name for name in then.settings.cameras if pictures.get(name)), None)
    return Earlier(
        then,
        then.settings.season.title,
        then.settings.season.sown,
        _lines(season, then, mark),
        pictures.get(main, {}),
    )


def _lines(season: Season, then: Season, mark: str) -> dict[str, Line]:
    """Its curves, kept as long as what they rest on stays as it is."""
    file = season.folder / ".cache" / CACHE_FILE
    kept = _kept(file, mark)
    if kept is not None:
        return kept
    found = {name: line_of(then, growth) for name, growth in grow(then).items()}
    lines = {name: line for name, line in found.items() if isinstance(line, Line)}
    file.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps({"mark": mark, "lines": {n: _plain(line) for n, line in lines.items()}})
    write_safely(file, text.encode())
    return lines


def _mark(folder: Path) -> str:
    """Changes when the curves may have."""
    texts = [folder / SETTINGS_FILE, folder / REGIONS_FILE]
    parts = [path.read_bytes() if path.is_file() else b"" for path in texts]
    rows = [folder / CATALOGUE_FILE, folder / f"{CATALOGUE_FILE}-wal"]
    stats = [path.stat() for path in rows if path.is_file()]
    stamps = [(each.st_size, each.st_mtime_ns) for each in stats if each.st_size]
    told = repr((_FORM, ARITHMETIC, __version__, str(folder), parts, stamps))
    return hashlib.sha256(told.encode()).hexdigest()


def _kept(file: Path, mark: str) -> dict[str, Line] | None:
    try:
        found = json.loads(file.read_text())
        if found["mark"] != mark:
            return None
        return {name: Line(*map(_array, parts)) for name, parts in found["lines"].items()}
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _plain(line: Line) -> list[list[float | None]]:
    parts = (line.at, line.area_cm2, line.low_cm2, line.high_cm2)
    return [[float(x) if math.isfinite(x) else None for x in part] for part in parts]


def _array(values: list[float | None]) -> np.ndarray:
    return np.array([math.nan if value is None else value for value in values], dtype=float)
