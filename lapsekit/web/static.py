"""Files that a server gives out: a fixed list, read once; no request names a file on the disk."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lapsekit.resources import shared_folder

_KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".woff2": "font/woff2",
}


@dataclass(frozen=True)
class StaticFile:
    """Content of a file, its media type, and a mark that changes with it."""

    content: bytes
    kind: str
    mark: str

    def head(self) -> dict[str, str]:
        """What browsers are told: to ask each time whether it is still that one."""
        return {"etag": self.mark, "cache-control": "no-cache"}


def static_files(folders: Sequence[Path]) -> dict[str, StaticFile]:
    """Styles, scripts and pictures of folders, and the almanac's fonts, by their names."""
    fonts = (shared_folder("site_template") / "fonts").glob("*.woff2")
    found = {}
    for path in sorted([*(each for folder in folders for each in folder.iterdir()), *fonts]):
        if path.suffix in _KINDS:
            content = path.read_bytes()
            mark = f'"{hashlib.sha256(content).hexdigest()[:16]}"'
            found[path.name] = StaticFile(content, _KINDS[path.suffix], mark)
    return found
