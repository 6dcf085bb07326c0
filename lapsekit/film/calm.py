"""Does a film flash more than three times a second (WCAG 2.3.1)? Looked at once, part by part.

What the look came to lies beside the parts, as it was some parts before the film's end: when the
film has grown by a day, the look goes on from there. The result is that of a look at all of it.
"""

import hashlib
import zipfile
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import numpy as np

from lapsekit.film.segments import LOOKED_AT, Segment
from lapsekit.safely import write_safely
from lapsekit.vision.flashes import Flash, Watch, joined

_FORM = 1  # raised by hand when the same views are judged otherwise
_UNSETTLED = 16
"""So many last parts are looked at anew: the last days are parts by themselves, and may change."""


def flashes_of(folder: Path, segments: Sequence[Segment], frames_per_second: int) -> list[Flash]:
    """Where a film made of segments, with what was kept of their pictures, flashes too often.

    Parameters
    ----------
    folder : pathlib.Path
        Where the segments lie.
    segments : sequence of Segment
        In the film's order.
    frames_per_second : int

    Raises
    ------
    FilmError
        If what was kept of a segment's pictures cannot be read.
    """
    watch, begun = _taken_up(folder / LOOKED_AT, segments, frames_per_second)
    settled, found = max(begun, len(segments) - _UNSETTLED), []
    for part in (segments[begun:settled], segments[settled:]):
        found += watch.see(view for segment in part for view in segment.views())
        if part and not found and part[-1] is not segments[-1]:
            mark = _mark(segments[:settled], frames_per_second)
            _put_down(folder / LOOKED_AT, watch, settled, mark)
    return joined(found)


def _taken_up(path: Path, segments: Sequence[Segment], rate: int) -> tuple[Watch, int]:
    """A look that goes on after parts that were found calm, and how many these are."""
    try:
        with np.load(BytesIO(path.read_bytes())) as kept:
            state = dict(kept)
    except (OSError, ValueError, EOFError, zipfile.BadZipFile):
        return Watch(rate), 0
    count = int(state.get("parts", 0))
    if 0 < count <= len(segments) and _mark(segments[:count], rate) == str(state["mark"]):
        return Watch.at(state, rate), count
    return Watch(rate), 0


def _put_down(path: Path, watch: Watch, count: int, mark: str) -> None:
    buffer = BytesIO()
    np.savez(buffer, **watch.state, parts=count, mark=mark)
    write_safely(path, buffer.getvalue())


def _mark(segments: Sequence[Segment], rate: int) -> str:
    """Says which parts, with which pictures, were looked at, and how."""
    told = (_FORM, rate, [segment.path.name for segment in segments])
    return hashlib.sha256(repr(told).encode()).hexdigest()
