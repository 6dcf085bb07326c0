"""Pieces of files that are made once, so that a new day costs what is new and not the season.

Each lies in a file of its own in the season's ``.cache``, whose name is a mark of what the piece is
made of. The folder may be deleted: then each is made once more.
"""

import shutil
from collections.abc import Callable, Iterable
from functools import cached_property
from pathlib import Path
from urllib.parse import quote

from lapsekit.safely import write_safely
from lapsekit.site.digests import mark_of


class Shelf:
    """Where the pieces of all files of a site are kept.

    Parameters
    ----------
    folder : pathlib.Path
        Made when the first piece is kept.
    common : object
        What all pieces rest on; its `repr` says all that it is.
    """

    def __init__(self, folder: Path, common: object):
        self._folder = folder
        self._common = common

    def of(self, path: str) -> "Pieces":
        """The pieces of the file at `path` in the site."""
        return Pieces(self._folder / quote(path, safe=""), self._common)

    def forget_all_but(self, paths: Iterable[str]) -> None:
        """Delete the pieces of other files."""
        kept = {quote(path, safe="") for path in paths}
        for folder in self._folder.glob("*"):
            if folder.name not in kept:
                shutil.rmtree(folder)


class Pieces:
    """The pieces of one file of the site.

    Parameters
    ----------
    folder : pathlib.Path
        Where they are kept; made when the first is written.
    common : object
        What all of them rest on; its `repr` says all that it is.
    """

    def __init__(self, folder: Path, common: object):
        self._folder = folder
        self._common = common
        self._used: set[str] = set()

    def text(self, made_of: object, make: Callable[[], str]) -> str:
        """A piece: as it is kept, or made and kept.

        Parameters
        ----------
        made_of : object
            Plain values whose `repr` says all that the piece rests on beside what is common.
        make : callable
            Makes it.
        """
        name = mark_of(self._common, made_of)
        self._used.add(name)
        if name in self._there:
            return (self._folder / name).read_text(encoding="utf-8")
        text = make()
        self._folder.mkdir(parents=True, exist_ok=True)
        write_safely(self._folder / name, text.encode())
        return text

    def forget_others(self) -> None:
        """Delete pieces that were not asked for."""
        for name in self._there - self._used:
            (self._folder / name).unlink(missing_ok=True)

    @cached_property
    def _there(self) -> set[str]:
        return {file.name for file in self._folder.glob("*")}
