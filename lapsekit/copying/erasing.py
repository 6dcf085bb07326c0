"""What of followers' pictures must not lie at the far side any more (pure).

All else that was ever copied stays there. A picture that was taken down, or whose time was up, goes
there too; so does where it lay before it was decided on.
"""

import re
from collections.abc import Collection, Iterable, Mapping

from lapsekit.followers.records import FOLDER, STATES

_OF_A_PICTURE = re.compile(
    rf"(?:before/[^/]+/)?{FOLDER}/(?P<state>{'|'.join(STATES)})/(?P<id>[0-9a-f]{{16}})/[^/]+"
)


def is_followers(path: str) -> bool:
    """Whether a path is that of something followers sent: no earlier version of it is kept."""
    return path.startswith(f"{FOLDER}/")


def to_erase(there: Iterable[str], gone: Collection[str], here: Mapping[str, str]) -> list[str]:
    """Those of some paths that must go.

    Parameters
    ----------
    there : iterable of str
        Paths at the far side.
    gone : collection of str
        Ids of pictures that were deleted.
    here : mapping of str to str
        State by id, of pictures that are in the season folder. One that is in neither stays: a
        folder that was lost must not take its copy with it.
    """
    found = []
    for path in there:
        match = _OF_A_PICTURE.fullmatch(path)
        if match is None:
            continue
        moved = here.get(match["id"], match["state"]) != match["state"]
        if match["id"] in gone or moved:
            found.append(path)
    return found


def states_here(paths: Iterable[str]) -> dict[str, str]:
    """State by id, of the season folder's own paths."""
    matches = filter(None, map(_OF_A_PICTURE.fullmatch, paths))
    return {match["id"]: match["state"] for match in matches}
