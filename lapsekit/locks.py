"""Who works on a season folder: one stage at a time, one writer of its texts at a time."""

import errno
import fcntl
import os
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TextIO

from lapsekit.errors import SeasonBusy, Unwritable
from lapsekit.safely import naming, remedy_of

LOCK_FILE = ".lock"
COPY_LOCK_FILE = ".copying"
"""Copying changes nothing that other stages use, and has a lock of its own."""

WRITING_LOCK = ".writing"
"""Held only while a text of the season is read, changed and written: milliseconds. A stage that
runs does not hold it, so that a note can be taken meanwhile."""


@contextmanager
def hold(
    folder: Path,
    stage: str,
    wait_s: float,
    on_wait: Callable[[str], None] | None = None,
    file_name: str = LOCK_FILE,
) -> Iterator[None]:
    """Hold a lock of a season folder, be the season in it usable or not; as `Season.lock`."""
    path = folder / file_name
    with _opened(path, stage) as file:
        deadline = time.monotonic() + wait_s
        pause_s, waited = 0.002, False
        while not _locked(file.fileno()):
            file.seek(0)
            holder = file.read().strip() or "another lapsekit process"
            if time.monotonic() >= deadline:
                raise SeasonBusy(
                    f"{folder} is held by {holder}; wait until it is done, then run {stage} again"
                )
            if not waited and on_wait is not None:
                on_wait(holder)
            waited = True
            time.sleep(pause_s)
            pause_s = min(2 * pause_s, 0.1)
        with naming(path):
            file.truncate(0)
            # past the file's buffer, which would fail once more, unnamed, when it is closed
            os.write(file.fileno(), f"lapsekit {stage} (process {os.getpid()})\n".encode())
        try:
            yield
        finally:
            file.truncate(0)


def writing(folder: Path, what: str, wait_s: float = 10) -> AbstractContextManager[None]:
    """Hold the texts of a season folder while one is read, changed and written.

    Raises
    ------
    SeasonBusy
        If somebody else holds them for as long as `wait_s`.
    """
    return hold(folder, what, wait_s, file_name=WRITING_LOCK)


def _opened(path: Path, stage: str) -> TextIO:
    """The lock's file; one that stands in a read-only folder opens, but no work could go on."""
    try:
        file = path.open("a+", encoding="utf-8")
        if not os.access(path.parent, os.W_OK):
            file.close()
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path.parent))
    except OSError as error:
        remedy = remedy_of(error)
        if remedy is None:
            raise
        raise Unwritable(
            f"{path.parent}: cannot be written to ({error.strerror}), as {stage} must: {remedy}"
        ) from error
    return file


def _locked(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
