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
_CHIPS = Path("/sys/class/rtc")
_CHIP_AGREES_S = 86_400


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
        """Whether a time server, or a clock chip that is right, stands behind its clock."""
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
        """Whether a time server or a clock chip stands behind the clock, or nothing needs to."""
        if self.wall().year < EARLIEST_YEAR:
            return False
        trusted = not self._wait or not _BOARD.exists()
        return trusted or _kernel_is_synchronised() or _chip_agrees(self.wall())


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
        self._jump = timedelta(0)
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
        wall, is_set = self._machine.wall(), self._machine.is_set()
        says = wall - self._machine.since_boot()
        if self._started is None:
            if is_set:
                self._started = says
                self._tell(f"the clock is set: {wall:%Y-%m-%d %H:%M} UTC")
            return is_set
        jump = says - self._started
        moved_since = abs(jump - self._jump) > JUMP
        if abs(jump) <= JUMP or is_set:
            if abs(jump) > JUMP:
                self._tell(f"the clock was set by {_signed(jump)}; the schedule follows it")
            self._started = says
            self._jump = timedelta(0)
        elif moved_since:
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


def _chip_agrees(wall: datetime) -> bool:
    for chip in sorted(_CHIPS.glob("rtc*/since_epoch")):
        with suppress(OSError, ValueError):
            return abs(wall.timestamp() - int(chip.read_text())) < _CHIP_AGREES_S
    return False


def _kernel_is_synchronised() -> bool:
    """``adjtimex(2)``, reading only; a kernel that does not answer is taken at its word."""
    answer = ctypes.create_string_buffer(_TIMEX_BYTES)
    try:
        state = ctypes.CDLL(None, use_errno=True).adjtimex(answer)
    except (OSError, AttributeError):
        return True
    if state < 0:
        return True
    at = 5 * ctypes.sizeof(ctypes.c_long)  # after modes, offset, freq, maxerror, esterror
    status = ctypes.c_int.from_buffer(answer, at).value
    return state != _TIME_ERROR and not status & _UNSYNCHRONISED
