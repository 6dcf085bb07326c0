"""The words of the site in its reader's language, and days and numbers as that language has them.

The English words stand where they are used, in calls of ``text`` and ``counted``; a catalogue in
``site/words/LANGUAGE.po`` (GNU gettext, read by Babel) holds them in another language.
``tests/words.py`` gathers them. The only module that knows Babel.
"""

import hashlib
import io
import json
from collections.abc import Callable
from datetime import date
from functools import cache, lru_cache
from gettext import GNUTranslations, NullTranslations
from pathlib import Path

CATALOGUES = Path(__file__).parent / "words"
#: Locale whose days and numbers a language of the site has.
LOCALES = {"en": "en_GB", "de": "de_DE"}

_THIN = "\u202f"


class Words:
    """Words, days and numbers of one language.

    Parameters
    ----------
    language : str
        A key of :data:`LOCALES`.
    """

    def __init__(self, language: str = "en"):
        self.language = language
        self._found = _translations(language)

    @property
    def mark(self) -> str:
        """Changes when a word of this language does."""
        if self.language == "en":
            return self.language
        return hashlib.sha256((CATALOGUES / f"{self.language}.po").read_bytes()).hexdigest()

    def __repr__(self) -> str:
        return f"Words({self.language!r})"

    def text(self, message: str, **values: object) -> str:
        """`message` in this language, with `values` put in for ``{names}`` in it."""
        found = self._found.gettext(message)
        return found.format(**values) if values else found

    def counted(self, one: str, many: str, n: float, **values: object) -> str:
        """The form of a message that fits the number `n`, which stands in it as ``{n}``."""
        whole = round(n) if float(n).is_integer() else 2
        return self._found.ngettext(one, many, whole).format(n=self.number(n), **values)

    def number(self, value: float, digits: int = 0) -> str:
        """A number with `digits` decimals, thousands parted by a thin space."""
        point, minus = (",", "−") if self.language == "de" else (".", "−")
        text = f"{abs(value):,.{digits}f}".replace(",", _THIN).replace(".", point)
        return (minus if value < 0 and text.strip("0.,") else "") + text

    def long_day(self, day: date) -> str:
        """``Saturday 3 May 2031``."""
        return _day(day, self.language, "full")

    def short_day(self, day: date) -> str:
        """``3 May``."""
        return _day(day, self.language, "MMMd")

    def month(self, day: date) -> str:
        """``May 2031``."""
        return _day(day, self.language, "yMMMM")

    def month_name(self, day: date) -> str:
        """``May``."""
        return _day(day, self.language, "LLLL")

    def weekday(self, day: date) -> str:
        """``Saturday``."""
        return _day(day, self.language, "EEEE")

    def listed(self, words: list[str]) -> str:
        """``a``, ``a and b``, ``a, b and c``."""
        if len(words) < 2:
            return "".join(words)
        return self.text("{most} and {last}", most=", ".join(words[:-1]), last=words[-1])

    def for_scripts(self) -> bytes:
        """A script that tells the site's other scripts their words; see ``words.js``."""
        catalogue = _catalogue(self.language)
        found: dict[str, str | list[str]] = {}
        for message in catalogue or ():
            if message.id and any(place.endswith(".js") for place, _ in message.locations):
                key = message.id[0] if message.pluralizable else message.id
                found[key] = list(message.string) if message.pluralizable else message.string
        plural = catalogue.plural_expr if catalogue is not None else "n != 1"
        told = json.dumps(found, ensure_ascii=False, sort_keys=True).replace("<", "\\u003c")
        locale = LOCALES[self.language].replace("_", "-")
        return (
            f"lapsekit.words = {{locale: {json.dumps(locale)}, form: (n) => Number({plural}), "
            f"found: {told}}};\n"
        ).encode()


def _catalogue(language: str):
    """The catalogue of a language; None of English, which is its own."""
    if language == "en":
        return None
    from babel.messages.pofile import read_po

    with (CATALOGUES / f"{language}.po").open("rb") as file:
        return read_po(file, locale=language)


@cache
def _translations(language: str) -> NullTranslations:
    catalogue = _catalogue(language)
    if catalogue is None:
        return NullTranslations()
    from babel.messages.mofile import write_mo

    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    return GNUTranslations(compiled)


@lru_cache(maxsize=4096)
def _day(day: date, language: str, form: str) -> str:
    return _formatter(form)(day, LOCALES[language])


@cache
def _formatter(form: str) -> Callable[[date, str], str]:
    from babel.dates import format_date, format_skeleton

    if form in ("MMMd", "yMMMM"):
        return lambda day, locale: format_skeleton(form, day, locale=locale)
    return lambda day, locale: format_date(day, form, locale=locale)


ENGLISH = Words("en")
