"""Lists that lie beside the copies: which file has which content (pure).

No list is ever changed: each copy that adds something adds a list, named by a hash of its own
content. So one that is damaged is known, and takes no other with it. Lists of texts are numbered;
the last one says what the season held, earlier ones what it held before.
"""

import csv
import hashlib
import io
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from lapsekit.safely import leads_out

LISTS, BEFORE = "lists", "before"
"""Folders at the far side, for these lists and for earlier versions of texts."""

_NAME = re.compile(rf"{LISTS}/(?:frames|texts-(?P<number>\d{{6}}))-(?P<hash>[0-9a-f]{{16}})\.csv")
_HEADER = ["path", "sha256", "size"]


@dataclass(frozen=True)
class Known:
    """What a list says of a file: SHA-256 in hexadecimal, and bytes."""

    sha256: str
    size: int


Files = Mapping[str, Known]


@dataclass(frozen=True)
class Found:
    """What all lists say together.

    Attributes
    ----------
    frames : dict of str to Known
    texts : dict of str to Known
        What the season held when it was last copied.
    earlier : dict of str to set of str
        Every hash that a text ever had.
    damaged : list of str
        Lists that cannot be used.
    last : int
        Number of the last list of texts, 0 for none.
    """

    frames: dict[str, Known]
    texts: dict[str, Known]
    earlier: dict[str, set[str]]
    damaged: list[str]
    last: int


def packed(files: Files) -> bytes:
    """A list; the same files give the same bytes."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_HEADER)
    writer.writerows((path, each.sha256, each.size) for path, each in sorted(files.items()))
    return out.getvalue().encode()


def frames_list(content: bytes) -> str:
    """Name of a list of frames."""
    return f"{LISTS}/frames-{_digest(content)}.csv"


def texts_list(content: bytes, number: int) -> str:
    """Name of a list of texts."""
    return f"{LISTS}/texts-{number:06}-{_digest(content)}.csv"


def last_texts(names: Iterable[str]) -> tuple[int, str]:
    """Number of the last list of texts, and the hash in its name; 0 and nothing for none."""
    found = [match for match in map(_NAME.fullmatch, names) if match and match["number"]]
    return max(((int(match["number"]), match["hash"]) for match in found), default=(0, ""))


def is_last(content: bytes, last: tuple[int, str]) -> bool:
    """Whether a list is the last one already."""
    return _digest(content) == last[1]


def gathered(contents: Mapping[str, bytes | None]) -> Found:
    """What lists say together.

    Parameters
    ----------
    contents : mapping of str to bytes or None
        Content by name; None for one that did not come back.
    """
    found = Found({}, {}, {}, [], last_texts(contents)[0])
    for name, content in sorted(contents.items()):  # texts in their order
        match = _NAME.fullmatch(name)
        files = (
            _unpacked(content) if content and match and _digest(content) == match["hash"] else None
        )
        if files is None:
            found.damaged.append(name)
        elif not match["number"]:
            found.frames.update(files)
        else:
            found.texts.clear()
            found.texts.update(files)
            for path, known in files.items():
                found.earlier.setdefault(path, set()).add(known.sha256)
    return found


def _unpacked(content: bytes) -> dict[str, Known] | None:
    try:
        rows = list(csv.reader(io.StringIO(content.decode())))
        files = {path: Known(sha256, int(size)) for path, sha256, size in rows[1:]}
    except (ValueError, csv.Error):
        return None
    hidden = any(part.startswith(".") for path in files for part in path.split("/"))
    return None if hidden or any(map(leads_out, files)) else files


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]
