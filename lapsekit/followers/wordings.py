"""What somebody agrees to who sends a picture: one text for upload page, mails and folder.

Its version is made of its words, contact and address among them: a record that names a version
names a text, and that text is kept in ``followers/wordings/VERSION.LANGUAGE.txt``.
"""

import hashlib
from dataclasses import dataclass

from lapsekit.followers.arrivals import Consent
from lapsekit.followers.records import FOLDER, private_folder
from lapsekit.followers.speaking import words_for
from lapsekit.language.words import Words
from lapsekit.safely import write_safely
from lapsekit.season import Season

WORDINGS = "wordings"


@dataclass(frozen=True)
class Wording:
    """The text that is agreed to.

    Attributes
    ----------
    version : str
        Eight hexadecimal digits of the text's own hash.
    language : str
    points : tuple of str
        Sentences, one point each.
    """

    version: str
    language: str
    points: tuple[str, ...]

    @property
    def text(self) -> str:
        """All points, a line each."""
        return "".join(f"- {point}\n" for point in self.points)


def wording(season: Season, language: str) -> Wording:
    """The consent text of this season as it is now.

    Parameters
    ----------
    season : Season
    language : str
        Wanted; the site's where there is no such catalogue.
    """
    words = words_for(season, language)
    points = tuple(_points(season, words))
    text = "".join(f"- {point}\n" for point in points)
    return Wording(hashlib.sha256(text.encode()).hexdigest()[:8], words.language, points)


def keep_wording(season: Season, consent: Consent) -> None:
    """Keep the text that was agreed to, if it is today's; the caller holds the lock for texts."""
    now = wording(season, consent.language)
    if (now.version, now.language) != (consent.wording, consent.language):
        return
    folder = season.folder / FOLDER / WORDINGS
    private_folder(folder)
    write_safely(folder / f"{now.version}.{now.language}.txt", now.text.encode())


def _points(season: Season, words: Words) -> list[str]:
    wanted, title = season.settings.followers, season.settings.season.title
    address = season.settings.site.address
    site = title if address is None else f"{title} ({address})"
    points = [
        words.text("I took the picture myself, or whoever took it agrees to this too."),
        words.text(
            "It may be shown on the public website of {site}, with the name that I chose for it, "
            "what I wrote about the plant, and the plant's age.",
            site=site,
        ),
        words.text(
            "Nobody can be recognised in it. (Please do not send pictures of people, house "
            "numbers or name plates.)"
        ),
        words.text(
            "I may have it taken down at any time, without giving a reason, with the code that I "
            "am given, or by writing to {contact}. It then leaves the website with its next "
            "update. What others have saved by then cannot be called back.",
            contact=wanted.contact,
        ),
    ]
    if wanted.minors == "never":
        return [*points, words.text("I am of age.")]
    return [*points, words.text("I am of age, or my parent or guardian agrees for me.")]
