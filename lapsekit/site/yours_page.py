"""The page on which followers hold their own plant against the grower's."""

import hashlib
from typing import Any

from lapsekit.errors import SettingsError
from lapsekit.season import COLOURS_FILE, Season
from lapsekit.site.contents import Page, Whole
from lapsekit.site.followers_pages import is_open
from lapsekit.site.writing import SiteFolder

PATH = "yours/index.html"


def put_rule(season: Season, folder: SiteFolder) -> tuple[str | None, list[str]]:
    """Put the season's canopy rule for the browser into the site.

    Parameters
    ----------
    season : Season
        Its ``canopy.method`` and ``canopy.model_file`` say what the rule is.
    folder : SiteFolder
        The rule's name in it carries a hash.

    Returns
    -------
    rule : str or None
        Its path in the site; None where a browser cannot run it. The page then holds pictures side
        by side and says that it does not measure.
    problems : list of str
        Why, for the grower.

    Raises
    ------
    SiteError
        If the file cannot be written.
    """
    from lapsekit.ruler import load_model
    from lapsekit.site.rule import rule_file

    canopy = season.settings.canopy
    try:
        content = rule_file(canopy.method, load_model(canopy, season.folder))
    except SettingsError as error:
        return None, [f"followers cannot measure their plants on the site: {error}"]
    path = f"data/canopy-{hashlib.sha256(content).hexdigest()[:10]}.bin"
    folder.put(path, content)
    return path, []


def yours_page(whole: Whole) -> Page:
    """The page."""
    facts: dict[str, Any] = {
        "rule": whole.rule,
        "by_index": whole.season.settings.canopy.method != "model",
        "is_open": is_open(whole),
        "taught": (whole.season.folder / COLOURS_FILE).is_file(),
    }
    return Page(PATH, "yours.html", facts)
