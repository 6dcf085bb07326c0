"""Write a file whole or not at all."""

import os
from pathlib import Path


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
    part = path.with_name(f".part-{os.getpid()}-{path.name}")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return True
