"""Catalogues of the site's words: GNU gettext files, shipped ones and those of a season's folder.

A catalogue of the season's own (``site_template/words/LANGUAGE.po``) comes before the shipped one
of that language; what neither has is said in English.
"""

import hashlib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from gettext import GNUTranslations, NullTranslations
from pathlib import Path
from string import Formatter
from typing import TYPE_CHECKING

from lapsekit.errors import SiteError

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog

SHIPPED = Path(__file__).parent / "catalogues"
#: The shipped catalogue that tells which messages scripts say, by where it found them.
_COMPLETE = SHIPPED / "de.po"
#: Which of two forms English takes for a number, as gettext writes it.
_ENGLISH_PLURAL = "n != 1"


@dataclass(frozen=True)
class Translations:
    """The words of one language.

    Attributes
    ----------
    gettext : NullTranslations
        For Python.
    scripts : dict
        For scripts: translations by English message, a list where there are plural forms.
    plural : str
        Which form a number ``n`` takes, as an expression that C and JavaScript share.
    mark : str
        Changes when a word does.
    """

    gettext: NullTranslations
    scripts: dict[str, str | list[str]]
    plural: str
    mark: str


def translations(language: str, folders: Sequence[Path] = ()) -> Translations:
    """The words of `language`, from catalogues in `folders`, then from the shipped one.

    Raises
    ------
    SiteError
        If there is no catalogue, or one cannot be used; the message names the file.
    """
    files = [folder / f"{language}.po" for folder in (*folders, SHIPPED)]
    found = [file for file in files if file.is_file()]
    if not found and language != "en":
        raise SiteError(_missing(language, files[0]))
    return _read(language, tuple((file, file.stat().st_mtime_ns) for file in found))


def _missing(language: str, place: Path) -> str:
    known = ", ".join(["en", *sorted(file.stem for file in SHIPPED.glob("*.po"))])
    return (
        f'site.language "{language}": no such catalogue; write one of {known} into season.toml, or '
        f"put a translation of {_COMPLETE} at {place}"
    )


@lru_cache(maxsize=8)
def _read(language: str, stamped: tuple[tuple[Path, int], ...]) -> Translations:
    """Catalogues by file and state, the first one first."""
    spoken, scripts, plural, mark = NullTranslations(), {}, _ENGLISH_PLURAL, hashlib.sha256()
    for file, _ in reversed(stamped):
        catalogue = _catalogue(file, language)
        compiled = _compiled(file, catalogue)
        compiled.add_fallback(spoken)
        spoken, plural = compiled, catalogue.plural_expr
        scripts |= dict(_for_scripts(catalogue))
        mark.update(file.read_bytes())
    return Translations(spoken, scripts, plural, f"{language} {mark.hexdigest()}")


def _catalogue(file: Path, language: str) -> "Catalog":
    from babel.messages.pofile import PoFileError, read_po

    try:
        with file.open("rb") as source:
            catalogue = read_po(source, language.replace("-", "_"), abort_invalid=True)
    except (PoFileError, ValueError, LookupError) as error:
        raise SiteError(f"{file}: not a gettext catalogue that can be read ({error})") from error
    for message in catalogue:
        if message.id:
            _require_fillings(file, message)
    return catalogue


def _require_fillings(file: Path, message) -> None:
    """Refuse a translation with a ``{name}`` that nobody fills in."""
    asked = set().union(*map(_fillings, _forms(message.id)))
    for text in _forms(message.string):
        try:
            strange = _fillings(text) - asked
        except ValueError as error:
            raise SiteError(f'{file}: "{text}" has a brace too many or too few') from error
        if strange:
            raise SiteError(
                f'{file}: "{text}" asks for {", ".join(sorted(strange))}, which the English '
                f'message "{_forms(message.id)[0]}" does not have'
            )


def _forms(text: str | Sequence[str]) -> Sequence[str]:
    return (text,) if isinstance(text, str) else text


def _fillings(text: str) -> set[str]:
    """Names in braces, with whatever would be done to them."""
    parts = Formatter().parse(text)
    return {
        f"{{{name}}}" + (spec or "") + (how or "")
        for _, name, spec, how in parts
        if name is not None
    }


def _compiled(file: Path, catalogue: "Catalog") -> GNUTranslations:
    from babel.messages.mofile import write_mo

    written = io.BytesIO()
    write_mo(written, catalogue)
    written.seek(0)
    try:
        return GNUTranslations(written)
    except ValueError as error:  # a plural form that is no plain sum of n and numbers
        raise SiteError(f"{file}: its Plural-Forms cannot be used ({error})") from error


def _for_scripts(catalogue: "Catalog") -> Iterator[tuple[str, str | list[str]]]:
    """Whole translations of what scripts say."""
    said = _said_by_scripts()
    for message in catalogue:
        key, forms = message.id and _forms(message.id)[0], _forms(message.string)
        if key in said and all(forms) and not message.fuzzy:
            yield key, list(forms) if message.pluralizable else message.string


@lru_cache(maxsize=1)
def _said_by_scripts() -> frozenset[str]:
    catalogue = _catalogue(_COMPLETE, "de")
    return frozenset(
        _forms(message.id)[0]
        for message in catalogue
        if message.id and any(place.endswith(".js") for place, _ in message.locations)
    )
