"""Over the network nothing is changed that lets this machine do more than it did.

Whoever has the desk's password looks after the season. A guessed one must not be enough to run a
program here, or to send a file of this machine elsewhere.
"""

from pathlib import Path

from lapsekit import trust
from lapsekit.edits.soundness import Texts
from lapsekit.errors import SettingsError
from lapsekit.season import SETTINGS_FILE
from lapsekit.settings import parse_settings
from lapsekit.texts import bare


def require_no_more(folder: Path, before: Texts, after: Texts) -> None:
    """Refuse texts with which a season would do what it did not do before.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder.
    before, after : mapping of name to text
        All texts of the season; those after are sound.

    Raises
    ------
    SettingsError
        Names all that is new.
    """
    if before[SETTINGS_FILE] == after[SETTINGS_FILE]:
        return
    known = _wishes(folder, before)
    new = [wish for wish in _wishes(folder, after) if wish not in known]
    if new:
        raise SettingsError(
            f"this machine would {'; it would '.join(new)}. Write that into {SETTINGS_FILE} by "
            "hand: over the network, where a guessed password would be enough, the desk does not "
            "make this machine do more than it did"
        )


def _wishes(folder: Path, texts: Texts) -> list[str]:
    """What a season would do; nothing, where its settings cannot be used."""
    try:
        settings = parse_settings(bare(texts[SETTINGS_FILE]), folder / SETTINGS_FILE)
    except SettingsError:
        return []
    return trust.wishes(settings, folder)
