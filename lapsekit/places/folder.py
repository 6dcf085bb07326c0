"""A folder of this machine, or one that is mounted."""

import os
import re
from collections.abc import Collection, Sequence
from pathlib import Path

from lapsekit.errors import TransferError
from lapsekit.places.fetching import fetch_each
from lapsekit.safely import PART, make_folders, write_safely

_WRITTEN = re.compile(re.escape(PART) + r"\d+-(.+)")


class Folder:
    """A folder of this machine, or one that is mounted.

    Parameters
    ----------
    target : pathlib.Path
    private : bool
        Whether what is put there can be read by nobody else; or else by everybody, a web server
        among them, whatever the process's own umask says.
    """

    caution = ""

    def __init__(self, target: Path, private: bool = False):
        self._target = target
        self._folder_mode, self._file_mode = (0o700, 0o600) if private else (0o755, 0o644)

    def __str__(self) -> str:
        return str(self._target)

    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        try:
            return _read(self._target / name)
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            raise TransferError(f"{self._target / name}: {error.strerror}") from error

    def send(self, root: Path, names: Sequence[str]) -> None:
        """Copy files, each written beside and renamed."""
        for name in names:
            target = self._target / name
            try:
                make_folders(target.parent, self._folder_mode)
                write_safely(target, (root / name).read_bytes(), self._file_mode)
            except OSError as error:
                raise TransferError(f"{target}: {error.strerror}") from error

    def fetch(self, names: Sequence[str], into: Path) -> None:
        """Bring files back; those that are gone stay away."""
        fetch_each(self.read, names, into)

    def sizes(self, names: Sequence[str]) -> dict[str, int | None]:
        """Bytes of those of these files that are there."""
        found = {name: self._size(name) for name in names}
        return {name: size for name, size in found.items() if size is not None}

    def _size(self, name: str) -> int | None:
        try:
            return (self._target / name).stat().st_size
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            raise TransferError(f"{self._target / name}: {error.strerror}") from error

    def differing(self, root: Path, names: Sequence[str]) -> list[str]:
        """Those of a folder's files whose content there is another, or that are not there."""
        try:
            return [name for name in names if self.read(name) != (root / name).read_bytes()]
        except OSError as error:
            raise TransferError(f"{error.filename}: {error.strerror}") from error

    def listed(self, folder: str) -> list[str]:
        """All files in a folder there and in those inside."""
        files = (file for file in (self._target / folder).rglob("*") if file.is_file())
        return sorted(
            file.relative_to(self._target).as_posix()
            for file in files
            if not file.name.startswith(PART)
        )

    def top(self) -> list[str]:
        """What lies at the top there."""
        try:
            return sorted(file.name for file in self._target.iterdir())
        except FileNotFoundError:
            return []
        except OSError as error:
            raise TransferError(f"{self._target}: {error.strerror}") from error

    def remove(self, names: Sequence[str]) -> None:
        """Delete files."""
        for name in names:
            try:
                (self._target / name).unlink(missing_ok=True)
            except NotADirectoryError:
                continue
            except OSError as error:
                raise TransferError(f"{self._target / name}: {error.strerror}") from error

    def tidy(self, names: Collection[str]) -> None:
        """Delete what `write_safely` was about to rename."""
        for folder in {(self._target / name).parent for name in names}:
            for file in folder.glob(f"{PART}*"):
                own = _WRITTEN.fullmatch(file.name)
                name = (file.parent / own[1]).relative_to(self._target).as_posix() if own else ""
                if name in names and file.is_file():
                    file.unlink(missing_ok=True)


def _read(file: Path) -> bytes:
    """What lies on the medium, not what this machine remembers of having written there."""
    with file.open("rb") as opened:
        os.posix_fadvise(opened.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        return opened.read()
