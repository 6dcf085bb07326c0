"""Where a program puts a picture that has not been looked over yet: in memory, not on a disk.

A picture may show what privacy areas are to hide until they are blacked out; what was once on a
disk or a card can be found there long after it was deleted. A folder in memory is gone with the
power. (Where a machine swaps to a disk, memory can get there; on a Raspberry Pi, switch that off.)
"""

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lapsekit.errors import CameraError

MEMORY = Path("/dev/shm")
_IN_MEMORY = {"tmpfs", "ramfs"}
_PREFIX = "lapsekit-frame-"


@contextmanager
def scratch(name: str, has_privacy: bool) -> Iterator[Path]:
    """Make a folder for one picture that only this user can read, and remove it at the end.

    Parameters
    ----------
    name : str
        What messages call the camera.
    has_privacy : bool
        Refuse where the machine has no such place in memory; otherwise a disk will do then.

    Raises
    ------
    CameraError
        If there is no place for it; says what to check.
    """
    memory = MEMORY if is_in_memory(MEMORY) and os.access(MEMORY, os.W_OK | os.X_OK) else None
    if memory is None and has_privacy:
        raise CameraError(
            f"{name} writes its picture to a file, and this machine has no place in memory for it "
            f"({MEMORY} is no tmpfs, or cannot be written to). On a disk, what privacy areas are "
            "to hide could be found later, so no picture was taken; let the command write to its "
            f"standard output instead of {{file}}, or mount a tmpfs on {MEMORY}"
        )
    if memory is not None:
        _sweep(memory)
    try:
        folder = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=memory))  # of mode 0700
        held = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except OSError as error:
        raise CameraError(
            f"{name}: no temporary folder for its picture ({error.strerror}); check that "
            f"{memory or tempfile.gettempdir()} has room"
        ) from error
    try:
        with suppress(OSError):  # not every disk can; only in memory it is asked for
            fcntl.flock(held, fcntl.LOCK_SH)
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        os.close(held)


def is_in_memory(folder: Path) -> bool:
    """Whether what lies in a folder lies in memory alone."""
    try:
        lines = Path("/proc/self/mounts").read_text(errors="replace").splitlines()
        place = folder.resolve(strict=True)
    except OSError:
        return False
    mounted = {Path(there): kind for _, there, kind, *_ in map(str.split, lines)}  # the last counts
    inner = next(there for there in (place, *place.parents) if there in mounted)
    return place.is_dir() and mounted[inner] in _IN_MEMORY


def _sweep(memory: Path) -> None:
    """Remove what processes left that were killed, which hold their folders no more."""
    for folder in memory.glob(f"{_PREFIX}*"):
        with suppress(OSError):
            if folder.is_symlink() or folder.stat().st_uid != os.getuid():
                continue
            held = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
            try:
                fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
                shutil.rmtree(folder, ignore_errors=True)
            finally:
                os.close(held)
