"""What time it is on a machine whose own clock may be wrong.

A Raspberry Pi without a clock battery starts with the time it last wrote down, and sets itself
hours later, when it meets a network. Seconds since the start of the machine are right all the
time. So the season's clock is these seconds plus an anchor, which is taken only while the machine's
clock is known to be set: until then there is no time of day, and a jump of the clock that no time
server stands behind moves nothing.
"""

import ctypes
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

from lapsekit.when import EARLIEST_YEAR

JUMP = timedelta(seconds=60)
"""So far a clock moves by being set, not by running fast or slow between two looks."""

_UNSYNCHRONISED, _TIME_ERROR = 0x40, 5
_TIMEX_BYTES = 512
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_BOARD = Path("/proc/device-tree")
_TIMESYNC = Path("/run/systemd/timesync/synchronized")
_CHIPS = Path("/sys/class/rtc")
_CHIP_KEEPS_TIME = timedelta(days=1)
_LOOKS = timedelta(seconds=15)


class Machine(Protocol):
    """The clocks of the machine."""

    boot_id: str

    def wall(self) -> datetime:
        """What its clock says, in UTC."""
        ...

    def since_boot(self) -> timedelta:
        """How long it has been on, sleep included."""
        ...

    def is_set(self) -> bool:
        """Whether its clock may be believed when the process begins."""
        ...

    def is_vouched_for(self, since: timedelta) -> bool:
        """Whether a time server, or a clock chip that agrees, stands behind a clock that jumped.

        `since` is how long ago the jump was seen: what a time server did before proves nothing.
        """
        ...


class ThisMachine:
    """The machine this runs on (Linux).

    Parameters
    ----------
    wait_for_clock : bool
        Whether something has to stand behind the clock: a time server, by what the kernel says, or
        a clock chip that agrees with it (one without a battery starts in 1970). Only boards may
        have neither; on other machines, and without this, the year has to be one that can be.
    """

    def __init__(self, wait_for_clock: bool):
        self._wait = wait_for_clock
        self.boot_id = _BOOT_ID.read_text().strip() if _BOOT_ID.exists() else "unknown"

    def wall(self) -> datetime:
        """What its clock says, in UTC."""
        return datetime.now(UTC)

    def since_boot(self) -> timedelta:
        """Seconds since the start of the machine."""
        clock = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
        return timedelta(seconds=time.clock_gettime(clock))

    def is_set(self) -> bool:
        """Whether something stands behind the clock, or the machine is one that keeps it."""
        wall = self.wall()
        if wall.year < EARLIEST_YEAR:
            return False
        needs_none = not self._wait or not _BOARD.exists()
        kernel = _kernel_is_synchronised()
        known = _TIMESYNC.exists() if kernel is None else kernel
        return needs_none or known or _chip_is_near(wall, _CHIP_KEEPS_TIME)

    def is_vouched_for(self, since: timedelta) -> bool:
        """Whether a time server or a clock chip stands behind the jump, or nothing needs to."""
        wall = self.wall()
        kernel = _kernel_is_synchronised()  # the kernel forgets it when somebody sets the clock
        known = _was_noted(wall, since + _LOOKS) if kernel is None else kernel
        return not self._wait or known or _chip_is_near(wall, JUMP)


class SteadyClock:
    """The season's clock: seconds since the start of the machine, and when that was.

    Parameters
    ----------
    machine : Machine
    tell : callable
        Told in words when the clock is set, jumps, or is set again.
    """

    def __init__(self, machine: Machine, tell: Callable[[str], None]):
        self._machine = machine
        self._tell = tell
        self._started: datetime | None = None
        self._jump = self._jumped_at = timedelta(0)
        self._one_at_a_time = threading.Lock()
        self.look()

    @property
    def is_known(self) -> bool:
        """Whether the time of day was ever known since this process began."""
        return self._started is not None

    def __call__(self) -> datetime:
        """The present instant; what the machine's clock says as long as nothing better is known."""
        started = self._started
        return self._machine.wall() if started is None else started + self._machine.since_boot()

    @property
    def skew(self) -> timedelta:
        """How far the machine's clock is ahead of this one."""
        return self._machine.wall() - self()

    def look(self) -> bool:
        """Compare with the machine's clock; True if whoever waits for a time has to think again."""
        with self._one_at_a_time:
            return self._looked()

    def _looked(self) -> bool:
        wall = self._machine.wall()
        says = wall - self._machine.since_boot()
        if self._started is None:
            if not self._machine.is_set():
                return False
            self._started = says
            self._tell(f"the clock is set: {wall:%Y-%m-%d %H:%M} UTC")
            return True
        jump = says - self._started
        moved_since = abs(jump - self._jump) > JUMP
        if moved_since:
            self._jumped_at = self._machine.since_boot()
        since = self._machine.since_boot() - self._jumped_at
        if abs(jump) <= JUMP or self._machine.is_vouched_for(since):
            if abs(jump) > JUMP:
                self._tell(f"the clock was set by {_signed(jump)}; the schedule follows it")
            self._started = says
            self._jump = timedelta(0)
            return moved_since or abs(jump) > JUMP
        if moved_since:
            self._jump = jump
            self._tell(
                f"the machine's clock jumped by {_signed(jump)}, and no time server stands behind "
                "that; frames are dated as before"
            )
        return moved_since


def boot_moment(clock: SteadyClock, machine: Machine, since_boot: timedelta) -> datetime:
    """When something happened so long after the start of the machine, now that time is known."""
    return clock() - (machine.since_boot() - since_boot)


def _signed(step: timedelta) -> str:
    hours = step / timedelta(hours=1)
    return f"{hours:+.1f} h" if abs(hours) >= 1 else f"{step.total_seconds():+.0f} s"


def _chip_is_near(wall: datetime, within: timedelta) -> bool:
    for chip in sorted(_CHIPS.glob("rtc*/since_epoch")):
        with suppress(OSError, ValueError):
            away_s = abs(wall.timestamp() - int(chip.read_text()))
            return away_s < within.total_seconds()
    return False


def _was_noted(wall: datetime, within: timedelta) -> bool:
    """Whether systemd's client noted so lately, by this very clock, that it set it."""
    try:
        age_s = wall.timestamp() - _TIMESYNC.stat().st_mtime
    except OSError:
        return False
    return -1 <= age_s <= within.total_seconds()


def _kernel_is_synchronised() -> bool | None:
    """``adjtimex(2)``, reading only; None where that is forbidden."""
    answer = ctypes.create_string_buffer(_TIMEX_BYTES)
    try:
        state = ctypes.CDLL(None, use_errno=True).adjtimex(answer)
    except (OSError, AttributeError):
        state = -1
    if state < 0:
        return None
    at = 5 * ctypes.sizeof(ctypes.c_long)  # after modes, offset, freq, maxerror, esterror
    status = ctypes.c_int.from_buffer(answer, at).value
    return state != _TIME_ERROR and not status & _UNSYNCHRONISED
