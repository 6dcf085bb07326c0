"""The language in which a follower is spoken to."""

from lapsekit.errors import SiteError
from lapsekit.language.words import ENGLISH, Words
from lapsekit.season import OWN_WORDS, Season


def words_for(season: Season, language: str) -> Words:
    """The words of a follower's language, of the site's where there are none, else English ones.

    Parameters
    ----------
    season : Season
    language : str
        As HTML names it; a stranger's word.
    """
    for each in (language, season.settings.site.language):
        if each.replace("-", "").isalnum() and each.isascii():  # it becomes a file's name
            try:
                return Words(each, [season.folder / OWN_WORDS])
            except SiteError:
                continue
    return ENGLISH
