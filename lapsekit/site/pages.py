"""Renders the pages. The only module that knows Jinja."""

from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import (
    ChoiceLoader,
    Environment,
    FileSystemLoader,
    StrictUndefined,
    TemplateError,
)

from lapsekit.errors import SiteError
from lapsekit.site import wording


class Pages:
    """The site's templates; those in the season's own folder come before the shipped ones.

    Parameters
    ----------
    folders : list of pathlib.Path
        Template folders, first the one that is asked first.
    shared : dict
        What every page is told.
    """

    def __init__(self, folders: list[Path], shared: dict[str, Any]):
        self._folders = folders
        self._shared = shared
        files = [file for folder in folders for file in sorted(folder.glob("*.html"))]
        stamps = tuple((file, file.stat().st_mtime_ns) for file in files)
        self._environment = _environment(tuple(folders), stamps)

    def render(self, template: str, depth: int, **facts: Any) -> bytes:
        """One page.

        Parameters
        ----------
        template : str
            File name of the template.
        depth : int
            How many folders below the site's root the page lies.
        **facts
            What the template shows.

        Raises
        ------
        SiteError
            If the template, which may be the grower's own, cannot be rendered.
        """
        root = "../" * depth
        try:
            page = self._environment.get_template(template)
            text = page.render({**self._shared, **facts, "root": root})
        except (TemplateError, UnicodeDecodeError) as error:
            where = " or ".join(str(folder / template) for folder in self._folders)
            raise SiteError(f"{where}: the template cannot be used ({error!s})") from error
        lines = [line.strip() for line in text.splitlines()]
        return "\n".join([line for line in lines if line] + [""]).encode()


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
    names = ("long_day", "short_day", "age_text", "counted", "listed", "local_time", "day_time")
    environment.filters.update({name: getattr(wording, name) for name in names})
    return environment
