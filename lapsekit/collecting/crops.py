"""Which crop a region is of. Pure."""

import re
from collections.abc import Mapping, Sequence
from fnmatch import fnmatchcase

_NUMBERED = re.compile(r"-?\d+$")


def crop_of(region: str, crops: Mapping[str, Sequence[str]]) -> str:
    """The crop of a region, by its name.

    Parameters
    ----------
    region : str
        A region's name.
    crops : mapping of str to sequence of str
        Patterns of the names of each crop's regions, with ``*`` for anything.

    Returns
    -------
    str
        The first crop that has a pattern which fits; else the name without the numbers at its end,
        so that ``basil-1``, ``basil2`` and ``basil-2030`` are one crop.
    """
    for crop, patterns in crops.items():
        if any(fnmatchcase(region, pattern) for pattern in patterns):
            return crop
    bare = region
    while (shorter := _NUMBERED.sub("", bare)) != bare:
        bare = shorter
    return bare or region
