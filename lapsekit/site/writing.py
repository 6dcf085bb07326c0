"""The site folder: files are written whole or not at all, and only where they changed."""

import filecmp
import hashlib
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import suppress
from functools import cached_property
from pathlib import Path

from lapsekit.errors import SiteError
from lapsekit.safely import part_of, remove_leftovers, write_safely

#: Folders in which every file is the site's own; the front page lies beside them.
FOLDERS = (
    *("pictures", "film", "assets", "data", "day", "growth", "about"),
    *("yours", "two", "cards", "embed", "elsewhere", "diary", "plant", "beside", "followers"),
)
#: Files of the site's own that lie beside the front page, and are not always there.
BESIDE_THE_FRONT = (
    *("latest.json", "today.jpg", "feed.atom", "feed.json", "diary.ics", "sitemap.xml"),
)
#: Assets that a style names, or the world; the names of all others carry a hash, so that caches
#: are safe.
_UNNAMED = ("fonts/", "icon.svg")


def asset_path(name: str, data: bytes) -> str:
    """Path in the site of a style, script or font."""
    if name.startswith(_UNNAMED):
        return f"assets/{name}"
    stem, suffix = name.rsplit(".", 1)
    return f"assets/{stem}-{hashlib.sha256(data).hexdigest()[:10]}.{suffix}"


class SiteFolder:
    """Writes a site and remembers what belongs to it.

    Parameters
    ----------
    root : pathlib.Path
        The site's folder; made when the first file is written.
    folders : sequence of str
        Folders in it in which every file is the site's own.

    Attributes
    ----------
    written : list of str
        Paths, relative to the site, of the files that were new or changed, in order.
    unchanged : int
        How many files were already as they should be.
    own : set of str
        Paths of the files that belong to the site.
    """

    def __init__(self, root: Path, folders: Sequence[str] = FOLDERS):
        self.root = root
        self._folders = folders
        self.written: list[str] = []
        self.unchanged = 0
        self.own: set[str] = set()

    def has(self, path: str) -> bool:
        """Whether `path` is there already; if so it is kept. For names that carry a hash."""
        if path not in self._there and path not in self.own:
            return False
        self._keep(path)
        return True

    @cached_property
    def _found(self) -> dict[str, list[str]]:
        """The site's own folders as they were when first asked, the deepest first; their files."""
        return {
            place[len(str(self.root)) + 1 :].replace(os.sep, "/"): names
            for folder in self._folders
            for place, _, names in os.walk(self.root / folder, topdown=False)
        }

    @cached_property
    def _there(self) -> set[str]:
        """Files that lay there then: thousands are asked for, one by one that took long."""
        beside = {file.name for file in self.root.glob("*") if file.is_file()}
        return beside.union(
            f"{folder}/{name}" for folder, names in self._found.items() for name in names
        )

    def put(self, path: str, data: bytes) -> None:
        """Make `path` hold `data`.

        Raises
        ------
        SiteError
            If the file cannot be written; what it held before stays.
        """
        target = self.root / path
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            changed = write_safely(target, data)
        except OSError as error:
            raise SiteError(_unwritten(target, error)) from error
        self._added(path) if changed else self._keep(path)

    def copy(self, source: Path, path: str) -> None:
        """Make `path` a copy of the file `source`; raises as `put`."""
        target = self.root / path
        try:
            if target.is_file() and filecmp.cmp(source, target, shallow=True):
                self._keep(path)
                return
            target.parent.mkdir(parents=True, exist_ok=True)
            part = part_of(target)
            shutil.copy2(source, part)
            part.replace(target)
        except OSError as error:
            raise SiteError(_unwritten(target, error)) from error
        self._added(path)

    def remove(self, path: str) -> None:
        """Delete a file of an earlier build, if it is there."""
        (self.root / path).unlink(missing_ok=True)

    def remove_strays(self) -> list[str]:
        """Delete files of earlier builds that are no longer part of the site, and say which."""
        remove_leftovers(self.root)
        strays = sorted(
            path for path in self._there - self.own if "/" in path or path in BESIDE_THE_FRONT
        )
        for path in strays:
            (self.root / path).unlink(missing_ok=True)
        used = set(_folders_of(self.own))
        for folder in self._found:
            if folder not in used:
                with suppress(OSError):  # it is not empty
                    (self.root / folder).rmdir()
        return strays

    def _keep(self, path: str) -> None:
        self.unchanged += path not in self.own
        self.own.add(path)

    def _added(self, path: str) -> None:
        self.written.append(path)
        self.own.add(path)


def _folders_of(paths: set[str]) -> Iterator[str]:
    """Every folder on the way to one of `paths`."""
    folders = {path.rpartition("/")[0] for path in paths}
    while folders:
        yield from folders
        folders = {folder.rpartition("/")[0] for folder in folders} - {""}


def _unwritten(target: Path, error: OSError) -> str:
    return (
        f"{target}: could not be written ({error.strerror}); make room or check who owns the "
        "folder, then run lapsekit site again. The pages before it are as they were."
    )
