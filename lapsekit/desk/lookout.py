"""The one camera that is looked through while a page asks for it; nothing is filed.

A device can be open once only, so there is one look at a time, on a thread of its own: it begins
when a page asks, and ends when none has asked for a while.
"""

import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from lapsekit.errors import LapsekitError, SeasonBusy
from lapsekit.season import Season

if TYPE_CHECKING:
    import numpy as np

    from lapsekit.aiming import Aim, Look

_T = TypeVar("_T")

IDLE_S = 8.0
"""A page that was left asks no more."""

EVERY_S = 1.0
_ENDS_WITHIN_S = 45.0
"""The longest that most cameras may take for a picture, and a little more."""


@dataclass(frozen=True)
class Sight:
    """A picture as it was seen, with what it says.

    Attributes
    ----------
    number : int
        Counts pictures since the desk opened.
    look : Look
    picture : ndarray of uint8, shape (height, width, 3)
        With its privacy areas black.
    aim : Aim
        What it was held against.
    """

    number: int
    look: "Look"
    picture: "np.ndarray" = field(repr=False)
    aim: "Aim" = field(repr=False)


class _Ended(Exception):
    """Nobody looks any more."""


@dataclass
class _Watch:
    """One thread's work."""

    camera: str
    asked_at: float
    is_wanted: bool = True
    said: str = ""
    thread: threading.Thread | None = None


class Lookout:
    """Looks through one camera at a time.

    Parameters
    ----------
    opened : callable
        Opens the season as its files are now.
    """

    def __init__(self, opened: Callable[[], AbstractContextManager[Season]]):
        self._opened = opened
        self._lock = threading.Lock()
        self._watch: _Watch | None = None
        self._sights: dict[str, Sight] = {}
        self._faults: dict[str, str] = {}
        self._count = 0

    def sight(self, camera: str) -> Sight | None:
        """The last picture of a camera; None if there was none yet."""
        return self._sights.get(camera)

    def fault(self, camera: str) -> str:
        """Why the last trial of a camera gave no picture; "" where it did, or was not made."""
        return self._faults.get(camera, "")

    def ask(self, camera: str) -> str:
        """Go on looking through a camera, or begin to; why there is no new picture, or ""."""
        with self._lock:
            watch = self._watch
            if watch is not None and watch.thread.is_alive():
                if watch.camera == camera and watch.is_wanted:
                    watch.asked_at = time.monotonic()
                    return watch.said
                watch.is_wanted = False
                return "waiting until the camera that was looked through before is let go"
            watch = _Watch(camera, time.monotonic())
            self._begin(watch, lambda: self._run(watch))
            return ""

    def _begin(self, watch: _Watch, work: Callable[[], None]) -> None:
        """Let a watch begin; the caller holds the lock, and no other one goes on."""
        name = f"lookout {watch.camera}"
        watch.thread = threading.Thread(target=work, name=name, daemon=True)
        watch.thread.start()
        self._watch = watch

    def leave(self) -> None:
        """Let go of the camera after its next picture, without waiting for that."""
        with self._lock:
            if self._watch is not None:
                self._watch.is_wanted = False

    def stop(self) -> None:
        """Let go of the camera, and wait until it is free.

        Raises
        ------
        SeasonBusy
            If the camera does not end its picture.
        """
        with self._lock:
            watch = self._watch
        if watch is None:
            return
        watch.is_wanted = False
        watch.thread.join(_ENDS_WITHIN_S)
        if watch.thread.is_alive():
            raise SeasonBusy(f'camera "{watch.camera}" is still taking a picture; try again soon')

    def alone(self, camera: str, work: Callable[[], _T]) -> _T:
        """Do something with a camera while nobody looks through one; what comes of it.

        Raises
        ------
        SeasonBusy
            If the camera is held by a look that does not end.
        """
        watch, done = _Watch(camera, time.monotonic()), Future()

        def run() -> None:
            try:
                done.set_result(work())
            except BaseException as error:  # whoever asked is told
                done.set_exception(error)

        while watch.thread is None:
            self.stop()
            with self._lock:  # another may have begun since
                if self._watch is None or not self._watch.thread.is_alive():
                    self._begin(watch, run)
        return done.result()

    def once(self, camera: str) -> Sight:
        """Take one picture and look at it.

        Raises
        ------
        CameraError
            If there is none; says what to check.
        SeasonBusy
            If the camera is held by a look that does not end.
        """
        from lapsekit.aiming import Aim
        from lapsekit.cameras import open_camera

        def look() -> Sight:
            with self._opened() as season:
                aim = Aim(season, camera)
                model = season.settings.cameras[camera]
                shot = open_camera(camera, model, season.folder, season.zone).take(season.clock())
                return self._seen(camera, aim, *aim.look(shot))

        try:
            return self.alone(camera, look)
        except LapsekitError as error:
            self._faults[camera] = str(error)
            raise

    def forget(self, camera: str) -> None:
        """Forget a camera's last picture, or why there was none: it may be another one now."""
        self._sights.pop(camera, None)
        self._faults.pop(camera, None)

    def _run(self, watch: _Watch) -> None:
        try:
            with self._opened() as season:
                self._look(watch, season)
        except _Ended:
            pass
        except LapsekitError as error:
            watch.said = str(error)
            self._wait(watch)

    def _look(self, watch: _Watch, season: Season) -> None:
        from lapsekit.aiming import Aim, looks
        from lapsekit.cameras import open_camera

        def tell(said: str) -> None:
            watch.said = said[:1].upper() + said[1:] + ("" if said.endswith(".") else ".")
            self._require_wanted(watch)

        aim = Aim(season, watch.camera)
        model = season.settings.cameras[watch.camera]
        camera = open_camera(watch.camera, model, season.folder, season.zone)
        for look, picture in looks(aim, camera, None, EVERY_S, tell):
            watch.said = ""
            self._seen(watch.camera, aim, look, picture)
            self._require_wanted(watch)

    def _seen(self, camera: str, aim: "Aim", look: "Look", picture: "np.ndarray") -> Sight:
        with self._lock:
            self._count += 1
            self._sights[camera] = Sight(self._count, look, picture, aim)
            self._faults.pop(camera, None)
            return self._sights[camera]

    def _require_wanted(self, watch: _Watch) -> None:
        if not watch.is_wanted or time.monotonic() - watch.asked_at > IDLE_S:
            raise _Ended

    def _wait(self, watch: _Watch) -> None:
        """Keep what it said for as long as somebody asks, so that it is not tried in haste."""
        until = time.monotonic() + 3 * EVERY_S
        while watch.is_wanted and time.monotonic() < until:
            time.sleep(0.1)
