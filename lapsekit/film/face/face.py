"""A film's face: everything that stands on a film picture, laid on it."""

import hashlib
from collections import OrderedDict
from collections.abc import Collection, Iterator
from dataclasses import replace
from threading import Lock

import numpy as np

from lapsekit.film.face.curve_slip import CurveSlip
from lapsekit.film.face.date_slip import DateSlip
from lapsekit.film.face.diary_slip import DiarySlip
from lapsekit.film.face.names_slip import NamesSlips
from lapsekit.film.face.panel_slips import PanelSlips
from lapsekit.film.face.paper import Sprite, Stamp, lay
from lapsekit.film.face.room import Room, meet
from lapsekit.film.face.thread_slip import ThreadSlip
from lapsekit.film.face.told import Event, Told

#: What a face can show; panels' titles stand wherever there are panels.
PARTS = frozenset({"date", "curve", "diary", "names", "thread"})
#: Raised when the same words are drawn otherwise, so that parts of films are not used again.
DRAWING = 1
_GAP = 1.6
_MOST_BYTES = 24_000_000


class Face:
    """Draws what `told` says on film pictures.

    Parameters
    ----------
    size : (int, int)
        Width and height of the film's pictures in px.
    shape : str
        ``wide``, ``square``, ``upright`` or ``picture``; says where text may stand.
    show : collection of str
        Which of `PARTS`.
    told : Told

    Attributes
    ----------
    left_out : list of Event
        Lines of the diary that found no time in the film.
    """

    def __init__(self, size: tuple[int, int], shape: str, show: Collection[str], told: Told):
        self._told, self._size = told, size
        self._sprites = _Sprites()
        room = Room(size, shape)
        floor = room.safe[3]
        self._thread = ThreadSlip(room, told) if "thread" in show and told.thread else None
        if self._thread:
            floor = self._thread.box[1] - room.px(_GAP)
        self._curve = CurveSlip(room, told) if "curve" in show and told.curves else None
        self._panels = PanelSlips(room, told, self._curve.box if self._curve else None)
        above = [*([self._curve.box] if self._curve else []), *self._panels.boxes]
        self._date = DateSlip(room, told, floor, above) if "date" in show else None
        date_box = self._date.box if self._date else None
        self._diary = DiarySlip(room, told, floor, date_box, above) if "diary" in show else None
        standing = [part.box for part in (self._thread, self._date, self._curve) if part]
        self._names = NamesSlips(room, standing) if "names" in show else None
        self.left_out: list[Event] = self._diary.left_out if self._diary else []

    def stamps(self, index: int) -> Iterator[Stamp]:
        """Slips of the film picture `index`, those that lie above the others last."""
        beat = self._told.beats[index]
        told = list(self._diary.stamps(index)) if self._diary else []
        for name in self._names.stamps(beat) if self._names else ():
            yield from _giving_way(name, told)
        for part in (self._panels, self._curve, self._thread, self._date):
            if part:
                yield from part.stamps(beat)
        yield from told

    def mark(self, index: int) -> str:
        """Thirty-two hexadecimal digits that change when the film picture `index` would."""
        said = [(stamp.key, stamp.box, stamp.opacity) for stamp in self.stamps(index)]
        return hashlib.sha256(repr((DRAWING, self._size, said)).encode()).hexdigest()[:32]

    def draw(self, picture: np.ndarray, index: int) -> np.ndarray:
        """Lay the slips of the film picture `index` on `picture`, in place.

        Parameters
        ----------
        picture : ndarray of uint8, shape (height, width, 3)
            RGB, of the face's size.
        index : int
            Which of ``told.beats``.

        Returns
        -------
        ndarray
            `picture`.
        """
        for stamp in self.stamps(index):
            lay(picture, self._sprites.of(stamp), stamp.box[:2], stamp.opacity)
        return picture


def _giving_way(name: Stamp, told: list[Stamp]) -> Iterator[Stamp]:
    """A name fades where a line of the diary comes over it."""
    covered = max((each.opacity for each in told if meet(each.box, name.box)), default=0.0)
    if covered < 1:
        yield replace(name, opacity=round(1 - covered, 3))


class _Sprites:
    """Slips that were drawn, as many as a few megabytes hold; any thread may ask."""

    def __init__(self) -> None:
        self._kept: OrderedDict[object, Sprite] = OrderedDict()
        self._bytes = 0
        self._lock = Lock()

    def of(self, stamp: Stamp) -> Sprite:
        with self._lock:
            found = self._kept.get(stamp.key)
            if found is not None:
                self._kept.move_to_end(stamp.key)
                return found
            made = self._kept[stamp.key] = stamp.paint()
            self._bytes += 2 * made.colour.nbytes
            while self._bytes > _MOST_BYTES and len(self._kept) > 1:
                self._bytes -= 2 * self._kept.popitem(last=False)[1].colour.nbytes
            return made
