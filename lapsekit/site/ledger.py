"""What the pages of the last build were made of, so that only those that change are made again.

The ledger lies in the season's ``.cache`` and may be deleted: then every page is rendered once, and
written only where it differs.
"""

import hashlib
import json
from pathlib import Path
from typing import Any

from lapsekit.safely import write_safely
from lapsekit.site.contents import Page


class Ledger:
    """Marks of the pages of a site.

    Parameters
    ----------
    file : pathlib.Path
        Where they are kept.
    root : pathlib.Path
        The site's folder.
    common : object
        What all pages depend on; its `repr` says all that it is.
    """

    def __init__(self, file: Path, root: Path, common: Any):
        self._file = file
        self._root = root
        self._common = repr(common)
        self._before = _read(file)
        self._now: dict[str, list] = {}

    def mark(self, page: Page) -> str:
        """Changes when anything does that the page shows."""
        told = repr((self._common, page.template, page.made_of))
        return hashlib.sha256(told.encode()).hexdigest()[:20]

    def is_current(self, page: Page, mark: str) -> bool:
        """Whether the page lies there as it was made, of the same."""
        return self._before.get(page.path) == [mark, *self._state(page.path)]

    def note(self, page: Page, mark: str) -> None:
        """The page lies there, made of what `mark` stands for."""
        self._now[page.path] = [mark, *self._state(page.path)]

    def save(self) -> None:
        """Keep the marks for the next build."""
        self._file.parent.mkdir(parents=True, exist_ok=True)
        write_safely(self._file, json.dumps(self._now, sort_keys=True).encode())

    def _state(self, path: str) -> list[int]:
        try:
            found = (self._root / path).stat()
        except OSError:
            return []
        return [found.st_size, found.st_mtime_ns]


def _read(file: Path) -> dict[str, list]:
    try:
        found = json.loads(file.read_text())
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}
