"""Write a file whole or not at all."""

import os
from pathlib import Path

#: How the names of files that are being written begin.
PART = ".part-"


def remove_leftovers(folder: Path) -> None:
    """Delete what an interrupted write left in `folder`; the caller alone writes there."""
    for file in folder.glob(f"{PART}*"):
        file.unlink(missing_ok=True)


def write_safely(path: Path, content: bytes) -> bool:
    """Write `content` to `path` by a temporary name in the same folder, then rename.

    Parameters
    ----------
    path : pathlib.Path
        Where to; its folder exists.
    content : bytes
        What the file shall hold.

    Returns
    -------
    bool
        False if the file held just that already and was left alone.
    """
    if path.is_file() and path.read_bytes() == content:
        return False
    part = path.with_name(f"{PART}{os.getpid()}-{path.name}")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return True
