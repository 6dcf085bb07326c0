"""Whether frames that were copied are still there, whole."""

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.frames.archive import content_hash
from lapsekit.places import Place


@dataclass
class Checked:
    """Frames by what was found of them.

    Attributes
    ----------
    whole : list of str
        There, with the content that was copied.
    damaged_there : list of str
        Damaged or missing there, and whole here.
    damaged_here : list of str
        Here is another content than was copied; among `whole` or `lost` too.
    lost : list of str
        Damaged or missing there, and gone or damaged here.
    """

    whole: list[str] = field(default_factory=list)
    damaged_there: list[str] = field(default_factory=list)
    damaged_here: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)


def check_batch(place: Place, folder: Path, known: Mapping[str, str]) -> Checked:
    """Compare frames at the far side.

    Parameters
    ----------
    place : Place
    folder : pathlib.Path
        The season folder. Frames that are whole there are compared by their content; of others,
        which were thinned out, the far side's come back and are read.
    known : mapping of str to str
        SHA-256 by path, as copied.

    Raises
    ------
    TransferError
        If the far side could not be asked.
    """
    found = Checked()
    here = [path for path in known if (folder / path).is_file()]
    sound = [path for path in here if content_hash((folder / path).read_bytes()) == known[path]]
    found.damaged_here = [path for path in here if path not in set(sound)]
    found.damaged_there = place.differing(folder, sound) if sound else []
    bad = set(found.damaged_there)
    found.whole = [path for path in sound if path not in bad]
    others = [path for path in known if path not in set(sound)]
    if others:
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
            place.fetch(others, Path(scratch))
            for path in others:
                back = Path(scratch, path)
                whole = back.is_file() and content_hash(back.read_bytes()) == known[path]
                (found.whole if whole else found.lost).append(path)
    return found
