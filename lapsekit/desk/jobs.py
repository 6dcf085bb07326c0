"""Long work that a page starts: lapsekit's own commands, as processes, one of a kind at a time."""

import os
import secrets
import signal
import subprocess
import sys
import threading
from collections import OrderedDict, deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.errors import SeasonBusy

_MOST_KEPT = 40
_LINES = 4000
_NICE = 5
_ENDS_WITHIN_S = 10.0


@dataclass
class Job:
    """A command that runs, or ran.

    Attributes
    ----------
    number : str
        By which its page asks; random.
    what : str
        What it does, for people.
    words : tuple of str
        The command and what it is told.
    back : str
        Address to go to afterwards.
    said : deque of str
        Its last lines.
    faults : list of str
        What was said until a command failed that others followed; empty where none did.
    code : int or None
        Exit code; None while it runs.
    """

    number: str
    what: str
    words: tuple[str, ...]
    back: str
    said: deque[str] = field(default_factory=lambda: deque(maxlen=_LINES))
    faults: list[str] = field(default_factory=list)
    code: int | None = None
    process: subprocess.Popen | None = field(default=None, repr=False)
    is_stopped: bool = field(default=False, repr=False)

    @property
    def runs(self) -> bool:
        """Whether it is still at it."""
        return self.code is None


class Jobs:
    """All that was started from the desk.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder.
    """

    def __init__(self, folder: Path):
        self._folder = folder
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._lock = threading.Lock()

    def start(
        self,
        what: str,
        words: Sequence[str],
        back: str,
        then: Callable[[Job], int | None] | None = None,
        first: Sequence[Sequence[str]] = (),
    ) -> Job:
        """Start ``lapsekit WORDS --season FOLDER``.

        Parameters
        ----------
        what : str
        words : sequence of str
        back : str
        then : callable, optional
            Called when it has ended, before it counts as done; what it gives back, unless that is
            None, stands for the exit code.
        first : sequence of sequence of str
            Commands that run before. Whatever one ends with, the next one follows, unless the
            work was stopped; but if it failed, that is said, and the whole ends with its code.

        Raises
        ------
        SeasonBusy
            If the same work runs already.
        """
        with self._lock:
            if any(job.words == tuple(words) for job in self.running):
                raise SeasonBusy(f"{what}: that runs already; wait until it is done")
            job = Job(secrets.token_urlsafe(9), what, tuple(words), back)
            now, *after = *first, words
            job.process = self._begun(now)
            self._jobs[job.number] = job
            while len(self._jobs) > _MOST_KEPT:
                self._jobs.popitem(last=False)
        threading.Thread(target=self._follow, args=(job, then, after), daemon=True).start()
        return job

    def _begun(self, words: Sequence[str]) -> subprocess.Popen:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", "lapsekit", *words, "--season", str(self._folder)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            start_new_session=True,
        )
        with suppress(ProcessLookupError):
            os.setpriority(os.PRIO_PROCESS, process.pid, _NICE)
        return process

    def _follow(
        self, job: Job, then: Callable[[Job], int | None] | None, after: Sequence[Sequence[str]]
    ) -> None:
        code = ended = _ended(job)
        for words in after:
            try:
                if not self._goes_on(job, words, ended):
                    break
                ended = _ended(job)
            except OSError as error:
                job.said.append(f"lapsekit {words[0]} could not be started: {error}")
                ended = 71
            code = ended or code
        _finish(job, code, then)

    def _goes_on(self, job: Job, after: Sequence[str], code: int) -> bool:
        """Start the next command, unless the work was stopped."""
        with self._lock:
            if job.is_stopped:
                return False
            if code:
                job.said.append(
                    f"That ended with code {code}: what follows goes by what was known before."
                )
                job.faults = list(job.said)
            job.process = self._begun(after)
            return True

    def find(self, number: str) -> Job | None:
        """A job by its number."""
        return self._jobs.get(number)

    @property
    def running(self) -> list[Job]:
        """Those that are at it."""
        return [job for job in self._jobs.values() if job.runs]

    def stop(self, job: Job) -> None:
        """End a job; what it had done stays, and it goes on from there when it is run again."""
        with self._lock:
            job.is_stopped = True
            if job.runs and job.process is not None:
                with suppress(ProcessLookupError):
                    os.killpg(job.process.pid, signal.SIGTERM)

    def stop_all(self) -> None:
        """End whatever runs, and wait until it has ended: the desk closes."""
        ending = self.running
        for job in ending:
            self.stop(job)
        for job in ending:
            try:
                job.process.wait(_ENDS_WITHIN_S)
            except subprocess.TimeoutExpired:
                with suppress(ProcessLookupError):
                    os.killpg(job.process.pid, signal.SIGKILL)


def _ended(job: Job) -> int:
    with job.process.stdout as said:
        job.said.extend(line.rstrip("\n") for line in said)
    return job.process.wait()


def _finish(job: Job, code: int, then: Callable[[Job], int | None] | None) -> None:
    if then is not None:
        try:
            told = then(job)
            code = code if told is None else told
        except Exception as error:  # told where the job is followed; nobody else hears a thread
            job.said.append(f"{error}")
            code = code or 70
    job.code = code
