"""Which folder the grower puts pictures into, and which folders cannot be that one."""

from collections.abc import Iterator
from pathlib import Path

from lapsekit.diary import PICTURES_FOLDER
from lapsekit.errors import SettingsError
from lapsekit.followers.records import FOLDER
from lapsekit.frames.names import FRAMES
from lapsekit.season import SETTINGS_FILE
from lapsekit.settings import Settings

_OWN = (FRAMES, "site", FOLDER, PICTURES_FOLDER, "films", "growth", "thinned", "site_template")


def inbox_of(folder: Path, settings: Settings, named: str | None = None) -> Path | None:
    """The folder that ``followers.inbox`` names; None where it names none.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder, which a bare name lies in.
    settings : Settings
    named : str, optional
        Another name than the settings', to be tried.

    Raises
    ------
    SettingsError
        If pictures must not be moved about there: the season's folder or one around it, one of its
        own, or that of a camera.
    """
    named = named or settings.followers.inbox
    if named is None:
        return None
    told = f'{folder / SETTINGS_FILE}: followers.inbox = "{named}"'
    if not named.isprintable():
        raise SettingsError(f"{folder / SETTINGS_FILE}: followers.inbox: write it on one line")
    try:
        inbox = folder / Path(named).expanduser()
    except RuntimeError as error:
        raise SettingsError(f"{told}: there is no such home folder") from error
    place = inbox.resolve()
    if folder.resolve().is_relative_to(place):
        raise SettingsError(f"{told} is the season folder, or one around it; {_INSTEAD}")
    for what, other in _others(folder, settings):
        if place.is_relative_to(other.resolve()) or other.resolve().is_relative_to(place):
            raise SettingsError(f"{told} lies in {what}, or around it; {_INSTEAD}")
    return inbox


_INSTEAD = "name a folder for these pictures alone, like followers-in"


def _others(folder: Path, settings: Settings) -> Iterator[tuple[str, Path]]:
    for name in _OWN:
        yield f"the season's own {name}", folder / name
    for name, model in settings.cameras.items():
        if model.kind in ("watched", "replay"):
            yield f'the folder of camera "{name}"', folder / Path(model.folder).expanduser()
