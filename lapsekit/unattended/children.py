"""Heavy work runs as a process of its own: its memory is given back, its faults stop no capture.

It gets a low priority, a limit of memory and one of time, and ends with whoever started it.
"""

import json
import os
import resource
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from lapsekit.memory import UNTOUCHED_MB
from lapsekit.safely import write_safely
from lapsekit.season import LAST_MORNING_FILE
from lapsekit.unattended.clock import JUMP
from lapsekit.unattended.speaking import without_secrets
from lapsekit.when import AHEAD, utc_text

NICE = 10
_LAST_WORDS = 600
_GRACE_S = 20


@dataclass(frozen=True)
class Ended:
    """How a child ended: its exit code (None for one that took too long), and what it said.

    `was_stopped` says that it was ended because this process ends. Secrets are struck out.
    """

    code: int | None
    said: list[str]
    complaint: str
    was_stopped: bool = False


class Children:
    """Runs lapsekit's own commands on a season.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder.
    skew : callable, optional
        How far the machine's clock is ahead of the season's; children are told.
    """

    def __init__(self, folder: Path, skew: Callable[[], timedelta] = timedelta):
        self._folder = folder
        self._skew = skew
        self._running: set[subprocess.Popen] = set()
        self._ending = False
        self._one_at_a_time = threading.Lock()

    def run(self, *words: str, time_limit_s: float, memory_mb: int | None = None) -> Ended:
        """Run ``lapsekit WORDS --season FOLDER`` to its end, or to the limit.

        Parameters
        ----------
        words : str
            The command and its options.
        time_limit_s : float
            After it, the child and all it started are ended.
        memory_mb : int, optional
            What its data may take; beyond it, the child fails by itself. The kernel counts what is
            mapped, so that what libraries map and leave untouched is allowed besides.
        """
        process = self._started(words)
        if process is None:
            return Ended(None, [], "not begun: this process ends", was_stopped=True)
        with suppress(ProcessLookupError):  # set from here: a fork of threads must run no Python
            os.setpriority(os.PRIO_PROCESS, process.pid, NICE)
            if memory_mb is not None:
                limit = memory_mb + UNTOUCHED_MB << 20
                resource.prlimit(process.pid, resource.RLIMIT_DATA, (limit, limit))
        try:
            out, complaint = process.communicate(timeout=time_limit_s)
            complaint = without_secrets(complaint.strip())[-_LAST_WORDS:]
            said = without_secrets(out).splitlines()
            return Ended(process.returncode, said, complaint, was_stopped=self._ending)
        except subprocess.TimeoutExpired:
            _end(process)
            with suppress(subprocess.TimeoutExpired):  # the kernel may not let go of it
                process.communicate(timeout=_GRACE_S)
            return Ended(None, [], f"did not end within {time_limit_s / 60:.0f} min and was ended")
        finally:
            with self._one_at_a_time:
                self._running.discard(process)

    def _started(self, words: tuple[str, ...]) -> subprocess.Popen | None:
        """A child that `end_all` knows of; None once that was called."""
        with self._one_at_a_time:
            if self._ending:
                return None
            process = subprocess.Popen(
                [sys.executable, "-P", "-m", "lapsekit", *words, "--season", str(self._folder)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
                errors="replace",
                start_new_session=True,
                env=os.environ | {AHEAD: f"{self._ahead_s():.0f}"},
            )
            self._running.add(process)
            return process

    def _ahead_s(self) -> float:
        ahead = self._skew()
        return ahead.total_seconds() if abs(ahead) > JUMP else 0.0

    def end_all(self) -> None:
        """End whatever still runs, and begin nothing any more; the next time goes on from there."""
        with self._one_at_a_time:
            self._ending = True
            running = list(self._running)
        for process in running:
            _end(process)


def note_morning(folder: Path, ended_at: datetime, ended: Ended) -> None:
    """Write down how the last morning ended, for ``check`` and the alerts."""
    told = {"ended_at": utc_text(ended_at), "code": ended.code, "told": ended.complaint}
    write_safely(folder / LAST_MORNING_FILE, json.dumps(told).encode())


def _end(process: subprocess.Popen) -> None:
    for sent in (signal.SIGTERM, signal.SIGKILL):
        with suppress(ProcessLookupError):
            os.killpg(process.pid, sent)
        with suppress(subprocess.TimeoutExpired):
            process.wait(timeout=_GRACE_S)
            return
