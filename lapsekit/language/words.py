"""The words of the site in its reader's language, and days and numbers as that language has them.

The English words stand where they are used, in calls of ``text`` and ``counted``; catalogues hold
them in other languages (`lapsekit.language.translations`), and ``tests/words.py`` gathers them.
Days come from Babel.
"""

import json
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from functools import cache, lru_cache
from pathlib import Path

from lapsekit.errors import SiteError
from lapsekit.language.translations import translations

#: Locale whose days and numbers a language has, where the language alone does not tell.
LOCALES = {"en": "en_GB", "de": "de_DE"}
_POINTS = {"en": ".", "de": ","}

_THIN = "\u202f"


class Words:
    """Words, days and numbers of one language.

    Parameters
    ----------
    language : str
        As HTML names it: ``en``, ``pt-BR``.
    folders : sequence of pathlib.Path
        Where a catalogue of the language is looked for before the shipped ones.

    Raises
    ------
    SiteError
        If there is no catalogue of the language, or it cannot be used.
    """

    def __init__(self, language: str = "en", folders: Sequence[Path] = ()):
        self.language = language
        self.locale = LOCALES.get(language, language.replace("-", "_"))
        self._known = translations(language, folders)
        self._found = self._known.gettext
        self._point = _POINTS.get(language) or _point(self.locale)

    @property
    def mark(self) -> str:
        """Changes when a word of this language does."""
        return self._known.mark

    def __repr__(self) -> str:
        return f"Words({self.language!r})"

    def text(self, message: str, **values: object) -> str:
        """`message` in this language, with `values` put in for ``{names}`` in it."""
        found = self._found.gettext(message)
        return _pointed(found, values).format(**values) if values else found

    def counted(self, one: str, many: str, n: float, **values: object) -> str:
        """The form of a message that fits the number `n`, which stands in it as ``{n}``."""
        whole = round(n) if float(n).is_integer() else 2
        filled = {"n": self.number(n), **values}
        return _pointed(self._found.ngettext(one, many, whole), filled).format(**filled)

    def number(self, value: float, digits: int = 0) -> str:
        """A number with `digits` decimals, thousands parted by a thin space."""
        text = f"{abs(value):,.{digits}f}".replace(",", _THIN).replace(".", self._point)
        return ("−" if value < 0 and text.strip("0.,") else "") + text

    def long_day(self, day: date) -> str:
        """``Saturday, 3 May 2031``."""
        return _day(day, self.locale, "full")

    def short_day(self, day: date) -> str:
        """``3 May``."""
        return _day(day, self.locale, "MMMd")

    def dated_day(self, day: date) -> str:
        """``3 May 2031``."""
        return _day(day, self.locale, "yMMMd")

    def month(self, day: date) -> str:
        """``May 2031``."""
        return _day(day, self.locale, "yMMMM")

    def month_name(self, day: date) -> str:
        """``May``."""
        return _day(day, self.locale, "LLLL")

    def weekday(self, day: date) -> str:
        """``Saturday``."""
        return _day(day, self.locale, "EEEE")

    def listed(self, words: list[str]) -> str:
        """``a``, ``a and b``, ``a, b and c``."""
        if len(words) < 2:
            return "".join(words)
        return self.text("{most} and {last}", most=", ".join(words[:-1]), last=words[-1])

    def for_scripts(self) -> bytes:
        """A script that tells the site's other scripts their words; see ``words.js``."""
        known = self._known
        told = json.dumps(known.scripts, ensure_ascii=False, sort_keys=True)
        told = told.replace("<", "\\u003c")
        locale = json.dumps(self.locale.replace("_", "-"))
        return (
            f"lapsekit.words = {{locale: {locale}, form: (n) => Number({known.plural}), "
            f"found: {told}}};\n"
        ).encode()


def is_language(tag: str) -> bool:
    """Whether pages may say of a text that it is of this language: ``de``, ``pt-BR``."""
    from babel.localedata import exists

    return re.fullmatch(r"[a-z]{2,3}(-[A-Z]{2})?", tag) is not None and exists(
        tag.replace("-", "_")
    )


def _pointed(message: str, values: Mapping[str, object]) -> str:
    """The message without its own point behind what ends with one, like an abbreviated month."""
    for name, value in values.items():
        if isinstance(value, str) and value.endswith("."):
            message = re.sub(rf"\{{{name}\}}\.(?=\s|$)", f"{{{name}}}", message)
    return message


@lru_cache(maxsize=4096)
def _day(day: date, locale: str, form: str) -> str:
    return _formatter(form)(day, locale)


@cache
def _formatter(form: str) -> Callable[[date, str], str]:
    from babel.dates import format_date, format_skeleton

    if form in ("MMMd", "yMMMd", "yMMMM"):
        return lambda day, locale: format_skeleton(form, day, locale=locale)
    return lambda day, locale: format_date(day, form, locale=locale)


@cache
def _point(locale: str) -> str:
    """What parts a whole number from its decimals."""
    from babel import UnknownLocaleError
    from babel.numbers import get_decimal_symbol

    try:
        return get_decimal_symbol(locale)
    except (UnknownLocaleError, ValueError) as error:
        raise SiteError(
            f'site.language "{locale}": nobody knows how it writes days and numbers; name a '
            'language like "fr" or "pt-BR"'
        ) from error


ENGLISH = Words("en")
