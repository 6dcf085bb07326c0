"""What of a season folder is copied: what could not be made again, and no secret."""

import os
from collections.abc import Iterator
from pathlib import Path

from lapsekit.diary import PICTURES_FOLDER
from lapsekit.frames.names import FRAMES
from lapsekit.season import (
    COLOURS_FILE,
    CORRECTIONS_FILE,
    DIARY_FILE,
    OWNER_FILE,
    REGIONS_FILE,
    SETTINGS_FILE,
    VERDICTS_FILE,
)
from lapsekit.settings import Settings

TEXTS = (
    SETTINGS_FILE,
    REGIONS_FILE,
    DIARY_FILE,
    VERDICTS_FILE,
    COLOURS_FILE,
    CORRECTIONS_FILE,
    "weather.csv",
    OWNER_FILE,
)
FOLDERS = (PICTURES_FOLDER, "thinned", "followers", "site_template")
"""Files in these count as texts too: they change, and some go."""


def own_frames(season_folder: Path) -> list[str]:
    """Paths of all frame files, those set aside too."""
    return list(_inside(season_folder, FRAMES))


def own_texts(season_folder: Path, settings: Settings) -> list[str]:
    """Paths of the season's own texts that there are, pictures of followers among them."""
    model = settings.canopy.model_file
    named = [*TEXTS, *([Path(model).as_posix()] if model and not Path(model).is_absolute() else [])]
    found = [n for n in named if ".." not in Path(n).parts and (season_folder / n).is_file()]
    inside = (name for folder in FOLDERS for name in _inside(season_folder, folder))
    return [*dict.fromkeys([*found, *inside])]


def is_frame(path: str) -> bool:
    """Whether a path is that of a frame, which never changes."""
    return path.startswith(f"{FRAMES}/")


def _inside(season_folder: Path, folder: str) -> Iterator[str]:
    """Files in a folder, by path; hidden ones, halves and odd names are left out.

    Folders may be links to another disk, as the archive allows; a linked file is not followed.
    """
    for where, folders, files in os.walk(season_folder / folder, followlinks=folder == FRAMES):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            file = Path(where, name)
            if name.startswith(".") or not name.isprintable() or file.is_symlink():
                continue
            yield file.relative_to(season_folder).as_posix()
