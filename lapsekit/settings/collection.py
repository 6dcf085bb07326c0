"""A collection's file: which season folders belong together.

title = "Benches of the school"

[[season]]
folder = "south-2031"        # a season folder, from where this file lies
title = "Salad, south wall"  # instead of the season's own
bench = "south"              # seasons of one bench, year after year

[[season]]
folder = "north-*"           # or a pattern of folders
bench = "north"
on_index = true              # shown on the index site though it is not published

[crops]
basil = ["basil*", "thai-*"] # regions of these names are one crop
"""

import re
from pathlib import Path
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from lapsekit.settings.tables import Language
from lapsekit.settings.values import Model, Name
from lapsekit.settings.whole import load_file

_PATTERN = re.compile(r"[*?\[]")


Patterns = Annotated[tuple[str, ...], Field(strict=False, min_length=1)]


class Listed(Model):
    """``[[season]]``: a season folder, or a pattern of them.

    Attributes
    ----------
    folder : str
        Relative to the file; with ``*``, ``?`` or ``[...]`` it stands for all season folders that
        fit, without those that were named before it.
    title : str or None
        What tables and pages call it, instead of the season's own title.
    bench : str or None
        Name of the bench it stood on; the folder's name by default.
    on_index : bool or None
        Whether the index site shows it, published or not; by default those are shown whose
        season.toml has ``[publish]`` or ``[site] address``.
    """

    folder: Annotated[str, Field(min_length=1, max_length=1000)]
    title: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    bench: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    on_index: bool | None = None

    @field_validator("folder")
    @classmethod
    def _not_everything_below(cls, folder: str) -> str:
        if "**" in folder:
            raise ValueError(
                "** would walk through every frame folder; write a * for each folder, like */*"
            )
        return folder

    @model_validator(mode="after")
    def _one_title_a_season(self) -> Self:
        if self.is_pattern and self.title is not None:
            raise ValueError(
                "a pattern stands for many seasons, which cannot all have one title; give "
                "bench, or name the folder of each title in a [[season]] before this one"
            )
        return self

    @property
    def is_pattern(self) -> bool:
        """Whether it may stand for several folders."""
        return _PATTERN.search(self.folder) is not None


class CollectionFile(Model):
    """The file as a whole."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    language: Language = "en"
    season: Annotated[tuple[Listed, ...], Field(strict=False, min_length=1)]
    crops: dict[Name, Patterns] = Field(default_factory=dict)

    @field_validator("season")
    @classmethod
    def _named_once(cls, listed: tuple[Listed, ...]) -> tuple[Listed, ...]:
        names = [each.folder.rstrip("/") for each in listed]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f'folder = "{twice}" stands here twice; keep one of them')
        return listed


def load_collection(path: Path) -> CollectionFile:
    """Read a collection's file.

    Raises
    ------
    SettingsError
        If the file cannot be read, is not TOML, or holds a value that is not allowed.
    """
    return load_file(path, CollectionFile)
