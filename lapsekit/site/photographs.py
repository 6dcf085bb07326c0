"""Photographs of the diary that the grower wants on the site: drawn anew, only pixels go."""

import hashlib
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageOps, UnidentifiedImageError

from lapsekit.diary import Event
from lapsekit.site.pictures import encode, mark
from lapsekit.site.writing import SiteFolder

FOLDER = "diary/photographs"
LONGEST_SIDE_PX = 1200


@dataclass(frozen=True)
class Photograph:
    """A photograph in the site: its path, and its size in px."""

    path: str
    width: int
    height: int


def put_photographs(
    season_folder: Path, events: Iterable[Event], folder: SiteFolder
) -> tuple[dict[str, Photograph], list[str]]:
    """Put up the photographs of events that may be shown.

    Parameters
    ----------
    season_folder : pathlib.Path
    events : iterable of Event
        Those whose `on_site` is not set have none.
    folder : SiteFolder

    Returns
    -------
    photographs : dict of str to Photograph
        By their path in the season folder.
    problems : list of str
        What could not be read.
    """
    found, problems = {}, []
    for name in dict.fromkeys(n for e in events if e.on_site for n in e.pictures):
        try:
            found[name] = _put(season_folder / name, folder)
        except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
            problems.append(f"{season_folder / name}: left out of the site ({error})")
    return found, problems


def _put(file: Path, folder: SiteFolder) -> Photograph:
    """Put up a photograph; one that is there already is not decoded again."""
    data = file.read_bytes()
    path = f"{FOLDER}/{file.stem}-{mark(hashlib.sha256(data).hexdigest(), LONGEST_SIDE_PX)}.jpg"
    if folder.has(path):
        with Image.open(folder.root / path, formats=("JPEG",)) as there:
            return Photograph(path, *there.size)
    with Image.open(io.BytesIO(data), formats=("JPEG",)) as picture:
        picture.draft("RGB", (LONGEST_SIDE_PX, LONGEST_SIDE_PX))
        upright = ImageOps.exif_transpose(picture).convert("RGB")
    upright.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
    folder.put(path, encode(upright, "jpg"))
    return Photograph(path, *upright.size)
