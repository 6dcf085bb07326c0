"""Pictures out of the inbox that cannot be taken: ``refused/``, with a text that says why.

``basil.why.txt`` names the files that were moved there with it. Only those are deleted, after the
days for which declined pictures are kept; what somebody else put there stays.
"""

import os
import time
from collections.abc import Sequence
from pathlib import Path

from lapsekit.followers.originals import BESIDE, Looked, move, own_folder, require_as_read
from lapsekit.safely import write_safely

REFUSED = "refused"

_WHY = f".why{BESIDE}"
_MOVED = "Moved here by lapsekit, which deletes them with this text after some days:"
_MOST_BYTES = 10_000


def put_away(inbox: Path, files: Sequence[Looked], why: str) -> None:
    """Move a refused picture, and the text beside it; a second one of a name gets a number.

    Raises
    ------
    ChangedMeanwhile
        If one is no more what was read; nothing is moved then.
    FollowerError
        If ``refused`` is no folder.
    """
    require_as_read(files)
    target = own_folder(inbox / REFUSED)
    stem, *names = move(files, target, "", _WHY)
    for name in names:
        os.utime(target / name)  # how long it is kept counts from now
    told = "\n".join((why, "", _MOVED, *names, ""))
    write_safely(target / f"{stem}{_WHY}", told.encode(errors="surrogateescape"))


def forget_refused(inbox: Path, keep_days: int) -> None:
    """Delete what was refused so many days ago."""
    folder = inbox / REFUSED
    if not folder.is_dir() or folder.is_symlink():
        return
    oldest = time.time() - 86_400 * keep_days
    for why in sorted(folder.glob(f"*{_WHY}")):
        named = _named(why) if _is_old(why, oldest) else []
        old = [file for file in named if _is_old(file, oldest)]
        for file in old:
            file.unlink()
        if named and not any(file.exists() for file in named):
            why.unlink()


def _is_old(file: Path, oldest: float) -> bool:
    return file.is_file() and not file.is_symlink() and file.lstat().st_mtime < oldest


def _named(why: Path) -> list[Path]:
    """The files that a text of ours names; none in another's."""
    with why.open("rb") as file:
        lines = file.read(_MOST_BYTES).decode(errors="surrogateescape").split("\n")
    if _MOVED not in lines:
        return []
    names = [line for line in lines[lines.index(_MOVED) + 1 :] if line]
    return [why.parent / name for name in names if Path(name).name == name]
