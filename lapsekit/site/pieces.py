"""Pieces of files that are made once, so that a new day costs what is new and not the season.

Those of a file of the site lie together in one of the season's ``.cache``, each beside a mark of
what it is made of. The folder may be deleted: then each is made once more.
"""

import json
from collections.abc import Callable, Iterable
from itertools import accumulate, pairwise
from pathlib import Path
from urllib.parse import quote

from lapsekit.safely import write_safely
from lapsekit.site.digests import mark_of


class Pieces:
    """The pieces of one file of the site.

    Parameters
    ----------
    file : pathlib.Path
        Where they are kept.
    common : object
        What all of them rest on; its `repr` says all that it is.
    """

    def __init__(self, file: Path, common: object):
        self._file = file
        self._common = common
        self._before = _read(file)
        self._now: dict[str, str] = {}

    def text(self, made_of: object, make: Callable[[], str]) -> str:
        """A piece: as it is kept, or made.

        Parameters
        ----------
        made_of : object
            Plain values whose `repr` says all that the piece rests on beside what is common.
        make : callable
            Makes it.
        """
        mark = mark_of(self._common, made_of)
        kept = self._before.get(mark)
        self._now[mark] = make() if kept is None else kept
        return self._now[mark]

    def save(self) -> None:
        """Keep the pieces that were asked for, and no others."""
        if self._now != self._before:
            self._file.parent.mkdir(parents=True, exist_ok=True)
            lengths = json.dumps({mark: len(text) for mark, text in self._now.items()})
            write_safely(self._file, "".join([lengths, "\n", *self._now.values()]).encode())


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

    def of(self, path: str) -> Pieces:
        """The pieces of the file at `path` in the site."""
        return Pieces(self._folder / _name(path), self._common)

    def forget_all_but(self, paths: Iterable[str]) -> None:
        """Delete the pieces of other files."""
        kept = {_name(path) for path in paths}
        for file in self._folder.glob("*"):
            if file.name not in kept:
                file.unlink()


def _name(path: str) -> str:
    return quote(path, safe="")


def _read(file: Path) -> dict[str, str]:
    """Pieces by their marks; none where the file is not whole.

    Its first line tells the length of each, and all follow: quoting long texts would take long.
    """
    try:
        first, _, texts = file.read_bytes().decode().partition("\n")
        lengths: dict[str, int] = json.loads(first)
        ends = list(accumulate(lengths.values(), initial=0))
    except (OSError, ValueError, TypeError, AttributeError):
        return {}
    if ends[-1] != len(texts):
        return {}
    return {mark: texts[a:b] for mark, (a, b) in zip(lengths, pairwise(ends), strict=True)}
