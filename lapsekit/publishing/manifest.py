"""What of a site lies on the far side, and what has to go there in which order (pure).

The far side carries a list of the files that lapsekit put there, with their hashes. What is about
to change is struck from it before it changes, so that a publication cut off anywhere leaves no file
that is taken for another than it is, and none of somebody else's is ever counted as ours.
"""

import gzip
import hashlib
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass

from lapsekit.errors import PublishError
from lapsekit.safely import leads_out

MANIFEST, STATE = "published.json.gz", "published.txt"
"""The list, and a hash of it, which is all that is read when nothing has changed."""

FRONT = "index.html"
FORM = 1

UNSURE, NEW = "", "?"
"""In place of the hash of a file that was about to change, or to come, when the list was written.
Whoever reads one of ours then cannot know which it is, or whether it came."""


_UNREADABLE = (OSError, EOFError, zlib.error, ValueError, LookupError, TypeError, AttributeError)


class UnreadableList(PublishError):
    """The list on the far side is damaged, or none of ours."""


@dataclass(frozen=True)
class Plan:
    """What has to be done.

    Attributes
    ----------
    stages : tuple of tuple of str
        Files to send, stage by stage, so that at every moment the pages that a reader can reach
        from the front page find what they refer to: what pages show, then new pages, then changed
        ones, then the front page.
    unchanged : int
    removed : tuple of str
        Ours on the far side, and no longer part of the site.
    """

    stages: tuple[tuple[str, ...], ...]
    unchanged: int
    removed: tuple[str, ...]

    @property
    def sent(self) -> list[str]:
        """All files to send, in order."""
        return [name for stage in self.stages for name in stage]

    @property
    def is_empty(self) -> bool:
        """Whether the far side is as it should be."""
        return not self.stages and not self.removed


def plan(here: Mapping[str, str], there: Mapping[str, str]) -> Plan:
    """Compare a site with what lies on the far side.

    Parameters
    ----------
    here, there : mapping of str to str
        Hashes by path; `UNSURE` or `NEW` there for files that may be anything.
    """
    changed = sorted(name for name, digest in here.items() if there.get(name) != digest)
    stages: list[list[str]] = [[], [], [], []]
    for name in changed:
        stages[_stage(name, there.get(name, NEW) != NEW)].append(name)
    return Plan(
        tuple(tuple(stage) for stage in stages if stage),
        len(here) - len(changed),
        tuple(sorted(set(there) - set(here))),
    )


def _stage(name: str, is_there: bool) -> int:
    if not name.endswith(".html"):
        return 0
    return 3 if name == FRONT else 2 if is_there else 1


def under_way(here: Mapping[str, str], there: Mapping[str, str]) -> dict[str, str]:
    """The list while a plan is carried out: what stays as it is, and all else unsure or new."""
    return {
        name: here[name]
        if there.get(name) == here.get(name)
        else NEW
        if there.get(name, NEW) == NEW
        else UNSURE
        for name in sorted(set(here) | set(there))
    }


@dataclass(frozen=True)
class Owner:
    """The season whose site it is: a name that no other has, and its title for people."""

    name: str
    title: str


def packed(files: Mapping[str, str], owner: Owner) -> bytes:
    """The list as it lies on the far side; the same files of a season give the same bytes."""
    listed = dict(sorted(files.items()))
    content = json.dumps(
        {"form": FORM, "season": owner.name, "title": owner.title, "files": listed}, indent=0
    )
    return gzip.compress(content.encode(), 9, mtime=0)


def unpacked(content: bytes, where: str) -> tuple[dict[str, str], Owner]:
    """A list that `packed` made, and the season that it is of.

    Raises
    ------
    UnreadableList
        If it is none.
    PublishError
        If a newer lapsekit wrote it, or it names what lies outside the site.
    """
    try:
        found = json.loads(gzip.decompress(content))
        if found["form"] != FORM:
            raise PublishError(
                f"{where}: {MANIFEST} was written by a newer lapsekit (form {found['form']}); "
                "publish with that one"
            )
        files = {str(name): str(digest) for name, digest in found["files"].items()}
        owner = Owner(str(found["season"]), str(found["title"]))
    except (
        OSError,
        EOFError,
        ValueError,
        KeyError,
        TypeError,
        AttributeError,
        zlib.error,
    ) as error:
        raise UnreadableList(
            f"{where}: {MANIFEST} cannot be read ({type(error).__name__}); lapsekit publish "
            "--replace sends everything again"
        ) from error
    if bad := [name for name in files if leads_out(name)]:
        raise PublishError(f'{where}: {MANIFEST} names "{bad[0]}", which lies outside the site')
    return files, owner


def state_of(files: Mapping[str, str], owner: Owner) -> bytes:
    """What `STATE` holds once these files are all there."""
    return hashlib.sha256(packed(files, owner)).hexdigest().encode() + b"\n"
