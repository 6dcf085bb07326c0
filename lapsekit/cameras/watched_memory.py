"""Which files of a watched folder were filed, or told to be left out, and why: a text file."""

import csv
import io
import os
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from lapsekit.errors import ArchiveError

FILED, TOLD = "filed", "told"
_HEADER = ("path", "size", "modified_ns", "what", "why", "settings")


class State(NamedTuple):
    """By what a file is known again: its size in bytes, and when it was last written."""

    size: int
    modified_ns: int


class Memory:
    """What became of files, across restarts; one line a file, added at the end.

    Deleting the file does no harm: everything is handed out once more, and the archive knows
    what it has.

    Parameters
    ----------
    path : pathlib.Path
        The text file; made with its first line.
    settings : str
        What decides whether a file can be used. What was left out by others counts as new.
    """

    def __init__(self, path: Path, settings: str):
        self._path = path
        self._settings = settings
        self._known: dict[tuple[str, State], str] | None = None

    def knows(self, path: str, state: State) -> bool:
        """Whether a file, as it lies there, was dealt with."""
        if self._known is None:
            self._known = self._read()
        return (path, state) in self._known

    def why_left_out(self, path: str, state: State) -> str:
        """Why a file that it knows was left out; empty for one that was filed."""
        return self._known[path, state] if self.knows(path, state) else ""

    def add(self, path: str, state: State, what: str, why: str = "") -> None:
        """Note for good that a file was `FILED`; or `TOLD` to be left out, and why.

        Raises
        ------
        ArchiveError
            If that cannot be written.
        """
        if self.knows(path, state):
            return
        try:
            with self._path.open("ab") as file:
                settings = self._settings if what == TOLD else ""
                file.write(self._begin() + _line(path, *state, what, why, settings))
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise ArchiveError(
                f"{self._path}: cannot be written ({error.strerror}); check the disk"
            ) from error
        self._known[path, state] = why

    def _begin(self) -> bytes:
        """What has to stand before the next line: the header, or the end of a torn line."""
        try:
            with self._path.open("rb") as file:
                if file.seek(0, os.SEEK_END) == 0:
                    return _line(*_HEADER)
                file.seek(-1, os.SEEK_END)
                return b"" if file.read(1) == b"\n" else b"\n"
        except FileNotFoundError:
            return _line(*_HEADER)

    def _read(self) -> dict[tuple[str, State], str]:
        """Every whole line that holds; one that a power cut tore is as if it never was."""
        try:
            text = self._path.read_bytes().decode("utf-8", "surrogateescape")
        except FileNotFoundError:
            return {}
        except OSError as error:
            raise ArchiveError(
                f"{self._path}: cannot be read ({error.strerror}); check the disk"
            ) from error
        found: dict[tuple[str, State], str] = {}
        told = (TOLD, self._settings)
        for line in text.split("\n"):  # each on its own: a torn one must not swallow the next
            row = next(csv.reader([line]), [])
            if len(row) == len(_HEADER) and (row[3], row[5]) in ((FILED, ""), told):
                with suppress(ValueError):
                    found[row[0], State(int(row[1]), int(row[2]))] = row[4]
        return found


def _line(*cells: object) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue().encode("utf-8", "surrogateescape")
