"""Renders the pages. The only module that knows Jinja."""

import hashlib
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

from jinja2 import (
    ChoiceLoader,
    Environment,
    FileSystemLoader,
    StrictUndefined,
)
from markupsafe import Markup

from lapsekit import __version__
from lapsekit.errors import SiteError
from lapsekit.language import phrases
from lapsekit.language.words import Words
from lapsekit.site import wording
from lapsekit.site.contents import Page
from lapsekit.site.elsewhere.marks import Head
from lapsekit.site.parts import Part
from lapsekit.site.pieces import Pieces, Shelf


class Pages:
    """The site's templates; those in the season's own folder come before the shipped ones.

    Parameters
    ----------
    folders : list of pathlib.Path
        Template folders, first the one that is asked first.
    words : Words
        The language.
    shared : dict
        What every page is told.
    shelf : Shelf
        Where parts of pages are kept.

    Attributes
    ----------
    mark : str
        Changes when a template, a word or what every page is told does.
    """

    def __init__(self, folders: list[Path], words: Words, shared: dict[str, Any], shelf: Shelf):
        self._folders = folders
        self._shelf = shelf
        self._told = {**_spoken(words), **shared}
        found = (file for folder in folders for file in sorted(folder.glob("*.html")))
        files = [file for file in found if file.is_file()]
        stamps = tuple((file, file.stat().st_mtime_ns) for file in files)
        self._environment = _environment(tuple(folders), stamps)
        contents = b"".join(file.read_bytes() for file in files)
        told = repr((__version__, words.mark, shared)).encode()
        self.mark = hashlib.sha256(contents + told).hexdigest()

    def render(self, page: Page, head: Head | None) -> bytes:
        """One page as it is written; `head` is what machines are told of it.

        Raises
        ------
        SiteError
            If the template, which may be the grower's own, cannot be rendered.
        """
        root, pieces = "../" * page.path.count("/"), self._shelf.of(page.path)
        place = {"root": root, "path": page.path, "head": head}
        part = partial(self._part, root, pieces)
        text = self._rendered(page.template, {**page.facts, **place, "part": part})
        pieces.save()
        lines = [line.strip() for line in text.splitlines()]
        return "\n".join([line for line in lines if line] + [""]).encode()

    def _part(self, root: str, pieces: Pieces, part: Part) -> Markup:
        """A part of a page in the folder that is `root` away from the site's."""

        def make() -> str:
            return self._rendered(part.template, {**part.tell(), "root": root})

        return Markup(pieces.text((self.mark, root, part.mark), make))

    def _rendered(self, name: str, told: dict[str, Any]) -> str:
        try:
            return self._environment.get_template(name).render({**self._told, **told})
        except SiteError:  # of a part
            raise
        except Exception as error:  # a template is a program, the grower's own too
            where = " or ".join(str(folder / name) for folder in self._folders)
            raise SiteError(f"{where}: the template cannot be used ({error!s})") from error


@lru_cache(maxsize=4)
def _environment(folders: tuple[Path, ...], stamps: tuple[tuple[Path, int], ...]) -> Environment:
    """The templates of these folders, compiled once for each state (`stamps`) of their files."""
    environment = Environment(
        loader=ChoiceLoader([FileSystemLoader(folder) for folder in folders]),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    return environment


def _spoken(words: Words) -> dict[str, Any]:
    """What templates say days, numbers and words with."""
    return {
        "language": words.language,
        "text": words.text,
        "counted": words.counted,
        "html": partial(_html, words),
        "number": words.number,
        "long_day": words.long_day,
        "short_day": words.short_day,
        "month": words.month,
        "weekday": words.weekday,
        "listed": words.listed,
        "day_text": partial(phrases.day_text, words),
        "age_text": partial(phrases.age_text, words),
        "day_time": partial(wording.day_time, words),
        "reasons_text": partial(phrases.reasons_text, words),
    }


def _html(words: Words, message: str, **values: object) -> Markup:
    """A message that holds markup; what is put into it is escaped."""
    return Markup(words.text(message)).format(**values)
