"""The page on which followers hold their own plant against the grower's."""

from typing import Any

from lapsekit.errors import SettingsError
from lapsekit.season import Season
from lapsekit.site.contents import Page, Whole

PATH = "yours/index.html"


def season_rule(season: Season) -> tuple[bytes | None, str | None]:
    """The season's canopy rule for the browser, and why there is none.

    Parameters
    ----------
    season : Season
        Its ``canopy.method`` and ``canopy.model_file`` say what the rule is.

    Returns
    -------
    rule : bytes or None
        To be put into the site under a name that carries its hash.
    amiss : str or None
        What to tell the grower where a browser cannot run the rule; the page then holds pictures
        side by side and says that it does not measure.
    """
    from lapsekit.ruler import load_model
    from lapsekit.site.rule import rule_file

    canopy = season.settings.canopy
    try:
        return rule_file(canopy.method, load_model(canopy, season.folder)), None
    except SettingsError as error:
        return None, f"followers cannot measure their plants on the site: {error}"


def yours_page(whole: Whole, rule: str | None) -> Page:
    """The page; `rule` is the path in the site of what `season_rule` gave, None without one."""
    facts: dict[str, Any] = {
        "rule": rule,
        "by_index": whole.season.settings.canopy.method != "model",
        "taught": (whole.season.folder / "colours.csv").is_file(),
    }
    return Page(PATH, "yours.html", facts)
