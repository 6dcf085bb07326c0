"""Whether a season could be used with its texts as they would be (pure), and in which order
they may be written so that it can be used in between.
"""

from collections.abc import Mapping
from itertools import permutations
from pathlib import Path

from lapsekit.corrections import parse_corrections
from lapsekit.diary import parse_diary
from lapsekit.errors import SettingsError
from lapsekit.season import (
    COLOURS_FILE,
    CORRECTIONS_FILE,
    DIARY_FILE,
    REGIONS_FILE,
    SETTINGS_FILE,
    VERDICTS_FILE,
)
from lapsekit.settings import Settings, parse_regions, parse_settings
from lapsekit.texts import bare
from lapsekit.verdicts import parse_verdicts

Texts = Mapping[str, str | None]


def require_sound(folder: Path, before: Texts, after: Texts) -> None:
    """Refuse texts with which the season could not be used.

    Parameters
    ----------
    folder : pathlib.Path
        For messages.
    before, after : mapping of name to text
        All texts of the season; those that are the same in both are not looked at, but for what
        has to fit together.

    Raises
    ------
    SettingsError
        In the words of whatever reads them.
    """
    changed = {name for name in after if after[name] != before[name]}
    if changed & {SETTINGS_FILE, REGIONS_FILE}:
        settings = _require_settings(folder, after)
        if changed & {SETTINGS_FILE, COLOURS_FILE}:
            _require_model(folder, settings, bare(after[COLOURS_FILE]))
    elif COLOURS_FILE in changed and _opens(folder, after):
        settings = parse_settings(bare(after[SETTINGS_FILE]), folder / SETTINGS_FILE)
        _require_model(folder, settings, bare(after[COLOURS_FILE]))
    if COLOURS_FILE in changed:
        _strokes(bare(after[COLOURS_FILE]))
    if VERDICTS_FILE in changed:
        parse_verdicts(bare(after[VERDICTS_FILE]), folder / VERDICTS_FILE)
    for name, parse in ((DIARY_FILE, parse_diary), (CORRECTIONS_FILE, parse_corrections)):
        if name in changed:
            known = parse(bare(before[name]), folder / name)[1]
            found = parse(bare(after[name]), folder / name)[1]
            if len(found) > len(known):
                raise SettingsError(found[-1])


def order(folder: Path, before: Texts, after: Texts) -> list[str]:
    """Names of changed texts, so that the season can be used after each one that is written.

    Raises
    ------
    SettingsError
        If there is no such order: a camera and what it is called by change at once, say.
    """
    changed = [name for name in after if after[name] != before[name]]
    pair = [name for name in (SETTINGS_FILE, REGIONS_FILE) if name in changed]
    rest = [name for name in changed if name not in pair]
    if len(pair) < 2 or not _opens(folder, before):
        return pair + rest
    for first, second in permutations(pair):
        if _opens(folder, {**before, first: after[first]}):
            return [first, second, *rest]
    raise SettingsError(
        f"{folder}: {SETTINGS_FILE} and {REGIONS_FILE} cannot be changed like this at once, since "
        "one of them would not fit the other for a moment; make it two changes: first add what is "
        "new, then take out what is old"
    )


def _require_settings(folder: Path, texts: Texts) -> Settings:
    if texts[SETTINGS_FILE] is None:
        raise SettingsError(f"{folder}: without {SETTINGS_FILE} it would be no season folder")
    settings = parse_settings(bare(texts[SETTINGS_FILE]), folder / SETTINGS_FILE)
    parse_regions(bare(texts[REGIONS_FILE]), folder / REGIONS_FILE, settings)
    return settings


def _opens(folder: Path, texts: Texts) -> bool:
    try:
        _require_settings(folder, texts)
    except SettingsError:
        return False
    return True


def _strokes(text: str) -> tuple:
    from lapsekit.vision.strokes import read_strokes

    return read_strokes(text) if text else ()


def _require_model(folder: Path, settings: Settings, colours: str) -> None:
    if settings.canopy.method != "model" and _strokes(colours):
        raise SettingsError(
            f"{folder / COLOURS_FILE}: strokes teach the canopy model, but canopy.method is "
            f'"{settings.canopy.method}"; set it to "model", or take the strokes out first'
        )
