"""A new season folder, from the annotated example settings."""

import json
import re
from datetime import date
from pathlib import Path

from lapsekit.errors import SeasonError
from lapsekit.frames.names import FRAMES
from lapsekit.resources import shared_folder
from lapsekit.safely import part_of, write_safely
from lapsekit.season import DESK_FOLDER, DIARY_FILE, DIARY_HEADER, REGIONS_FILE, SETTINGS_FILE
from lapsekit.settings import parse_settings


def found_season(folder: Path, title: str, time_zone: str, sown: date) -> Path:
    """Make a season folder whose settings work as they are.

    Parameters
    ----------
    folder : pathlib.Path
        Where to; must not exist, or be empty but for the desk's own folder.
    title, time_zone, sown
        What is put into season.toml and regions.toml.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    SeasonError
        If the folder holds something already.
    SettingsError
        If title or time zone cannot be used; nothing is made then.
    """
    if folder.exists() and not _is_free(folder):
        raise SeasonError(f"{folder} exists and is not empty; name a new folder")
    examples = shared_folder("config")
    values = {"title": json.dumps(title, ensure_ascii=False), "sown": sown.isoformat()}
    values["time_zone"] = json.dumps(time_zone)
    settings = (examples / SETTINGS_FILE).read_text(encoding="utf-8")
    for key, value in values.items():
        settings = _with_value(settings, key, value)
    regions = (examples / REGIONS_FILE).read_text(encoding="utf-8")
    regions = _with_value(regions, "from", values["sown"])
    parse_settings(settings, folder / SETTINGS_FILE)
    make_folder(folder, {SETTINGS_FILE: settings, REGIONS_FILE: regions, DIARY_FILE: DIARY_HEADER})
    return folder


def require_season_or_room(folder: Path) -> None:
    """Refuse a folder that is no season and in which none can be founded.

    Raises
    ------
    SeasonError
        Says what to do.
    """
    if not (folder / SETTINGS_FILE).is_file() and folder.exists() and not _is_free(folder):
        raise SeasonError(
            f"{folder.resolve()} is no season folder (it holds no {SETTINGS_FILE}), so nothing was "
            "written there; name yours with --season FOLDER, or a new folder"
        )


def machine_zone() -> str:
    """The time zone that the machine is set to."""
    from tzlocal import get_localzone_name

    return get_localzone_name() or "UTC"


def _is_free(folder: Path) -> bool:
    """Whether a folder holds nothing, or no more than the password of the desk that founds it."""
    return folder.is_dir() and {each.name for each in folder.iterdir()} <= {DESK_FOLDER}


def make_folder(folder: Path, texts: dict[str, str]) -> None:
    """Make `folder` with these text files, whole or not at all; season.toml goes first in them."""
    if folder.is_dir() and any(folder.iterdir()):
        (folder / FRAMES).mkdir()
        for name, text in reversed(texts.items()):
            write_safely(folder / name, text.encode())
        return
    part = part_of(folder)
    part.mkdir(parents=True)
    for name, text in texts.items():
        (part / name).write_text(text, encoding="utf-8")
    (part / FRAMES).mkdir()
    part.replace(folder)  # an empty folder gives way


def _with_value(text: str, key: str, value: str) -> str:
    """`text` with the first line of `key` set to `value`, its comment kept."""
    line = re.compile(rf"^{key} = [^#\n]*?(?=\s*(#|$))", re.MULTILINE)
    return line.sub(lambda _: f"{key} = {value}", text, count=1)
