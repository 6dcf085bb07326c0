"""Bringing files back one by one, from places that read one at a time."""

from collections.abc import Callable, Sequence
from pathlib import Path

from lapsekit.errors import TransferError


def fetch_each(read: Callable[[str], bytes | None], names: Sequence[str], into: Path) -> None:
    """Write each file that `read` gives into a folder; those that are gone stay away.

    Raises
    ------
    TransferError
        If one cannot be written here.
    """
    for name in names:
        content = read(name)
        if content is None:
            continue
        try:
            (into / name).parent.mkdir(parents=True, exist_ok=True)
            (into / name).write_bytes(content)
        except OSError as error:
            raise TransferError(f"{into / name}: {error.strerror}") from error
