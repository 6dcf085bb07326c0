"""What lies on the far side of what lapsekit put there: its list tells only what was sent.

Names and sizes are looked at each time, which costs a list of folders and not one byte of a file.
Content is compared when it is asked for: where a server makes no hashes, all of it comes back.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lapsekit.places import Place
from lapsekit.places.trying import Tries, batches
from lapsekit.progress import Track
from lapsekit.publishing.manifest import MANIFEST, NEW, UNSURE


@dataclass(frozen=True)
class Found:
    """What was found.

    Attributes
    ----------
    amiss : dict of str to str
        Files that are missing there (`NEW`) or are others (`UNSURE`).
    is_listed : bool
        Whether the list of what lapsekit put there lies there.
    """

    amiss: dict[str, str]
    is_listed: bool


def look(
    place: Place,
    tries: Tries,
    site: Path,
    names: Sequence[str],
    most: float | None,
    track: Track,
) -> Found:
    """Look whether files of a site lie on the far side as they are here.

    Parameters
    ----------
    place : Place
    tries : Tries
    site : pathlib.Path
    names : sequence of str
        Those of which it is told that they are there.
    most : float or None
        Compare content too, of so many bytes at once; with None, names and sizes alone.
    track : Track
        Told about progress of comparing.

    Raises
    ------
    PublishError
        If all attempts failed.
    """
    sizes = tries(lambda: place.sizes([*names, MANIFEST]))
    here = {name: (site / name).stat().st_size for name in names}
    amiss = {name: NEW for name in names if name not in sizes}
    amiss |= {
        name: UNSURE for name in names if name in sizes and sizes[name] not in (None, here[name])
    }
    left = [name for name in names if name not in amiss] if most is not None else []
    parts = list(batches(left, here.__getitem__, most or 0))
    for batch in track(parts, len(parts), "comparing"):
        differing = tries(lambda batch=batch: place.differing(site, batch))
        amiss |= dict.fromkeys(differing, UNSURE)
    return Found(amiss, MANIFEST in sizes)
