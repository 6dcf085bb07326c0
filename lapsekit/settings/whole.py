"""season.toml as a whole, and the reading of both files.

A value that cannot be used is refused with the file, the key's path, the value and what is
allowed (:class:`~lapsekit.errors.SettingsError`); nothing is guessed or silently corrected.
"""

import re
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Self, TypeVar

from pydantic import Field, ValidationError, model_validator

from lapsekit.errors import SettingsError
from lapsekit.refusals import refusals
from lapsekit.settings.cameras import Camera
from lapsekit.settings.film import FilmTable
from lapsekit.settings.followers import FollowersTable
from lapsekit.settings.regions import Regions
from lapsekit.settings.tables import (
    AlertsTable,
    CanopyTable,
    CaptureTable,
    ComputeTable,
    CopiesTable,
    FramesTable,
    MorningTable,
    PlaceTable,
    PublishTable,
    RegistrationTable,
    ScreeningTable,
    SeasonTable,
    SiteTable,
    ThinningTable,
)
from lapsekit.settings.values import Model, Name


class Settings(Model):
    """season.toml as a whole."""

    season: SeasonTable
    cameras: Annotated[dict[Name, Camera], Field(min_length=1)]
    place: PlaceTable | None = None
    capture: CaptureTable = CaptureTable()
    frames: FramesTable = FramesTable()
    morning: MorningTable = MorningTable()
    compute: ComputeTable = ComputeTable()
    publish: PublishTable = PublishTable()
    copies: CopiesTable = CopiesTable()
    thinning: ThinningTable = ThinningTable()
    alerts: AlertsTable = AlertsTable()
    screening: ScreeningTable = ScreeningTable()
    registration: RegistrationTable = RegistrationTable()
    canopy: CanopyTable = CanopyTable()
    film: FilmTable = FilmTable()
    site: SiteTable = SiteTable()
    followers: FollowersTable = FollowersTable()

    @model_validator(mode="after")
    def _sun_known(self) -> Self:
        if self.capture.needs_place and self.place is None:
            raise ValueError(
                "times by the sun need to know where the bench stands: give [place] with latitude "
                "and longitude"
            )
        return self

    @model_validator(mode="after")
    def _heights_known(self) -> Self:
        without = [name for name, camera in self.cameras.items() if camera.height_cm is None]
        if self.canopy.correct_height and without:
            raise ValueError(
                "canopy.correct_height = true needs to know how high the lens hangs over the "
                f"bench: give cameras.{without[0]}.height_cm"
            )
        return self


def load_settings(path: Path) -> Settings:
    """Read season.toml.

    Raises
    ------
    SettingsError
        If the file cannot be read, is not TOML, or holds a value that is not allowed.
    """
    return load_file(path, Settings)


def load_regions(path: Path, settings: Settings) -> Regions:
    """Read regions.toml and check its cameras against `settings`; a missing file is no regions.

    Raises
    ------
    SettingsError
        If the file holds a value that is not allowed, or names a camera that season.toml has not.
    """
    if not path.exists():
        return Regions()
    return _of_cameras(load_file(path, Regions), path, settings)


def parse_regions(text: str, path: Path, settings: Settings) -> Regions:
    """Regions out of the text of a regions.toml that will lie at `path`; raises alike."""
    return _of_cameras(_parsed(text, path, Regions), path, settings)


def _of_cameras(regions: Regions, path: Path, settings: Settings) -> Regions:
    for number, region in enumerate(regions.region, start=1):
        if region.camera not in settings.cameras:
            raise SettingsError(
                f'{path}: region {number} ("{region.name}"): camera = "{region.camera}" is not a '
                f"camera of season.toml; it has {_listed(settings.cameras)}"
            )
    return regions


_M = TypeVar("_M", bound=Model)


def load_file(path: Path, model: type[_M]) -> _M:
    """A TOML file as a model; raises as `load_settings`."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise SettingsError(
            f"{path}: is not written in UTF-8 ({error.reason}); save it as text in UTF-8"
        ) from error
    except OSError as error:
        raise SettingsError(f"{path}: cannot be read ({error.strerror})") from error
    return _parsed(text, path, model)


def parse_settings(text: str, path: Path) -> Settings:
    """Settings out of the text of a season.toml that will lie at `path`; raises alike."""
    return _parsed(text, path, Settings)


_MOST_OF_A_LINE = 40
_AT_LINE = re.compile(r"at line (\d+)")
_TWICE = re.compile(r"Cannot declare \(([^)]*)\) twice")


def _line_of(error: tomllib.TOMLDecodeError, text: str) -> str:
    """What the line that could not be understood is for, and how values are written.

    Not the value itself, which may be a password in the wrong place.
    """
    found, lines = _AT_LINE.search(str(error)), text.split("\n")
    if found is None or int(found[1]) > len(lines):
        return ""
    key = lines[int(found[1]) - 1].partition("=")[0].strip()[:_MOST_OF_A_LINE]
    return (
        f'; there stands {key} = …. Texts stand between straight quotation marks ("), days are '
        "written like 2031-04-17, numbers with a point"
    )


def _twice(error: tomllib.TOMLDecodeError, text: str) -> str | None:
    """What is to be done about a table that stands twice; None where that is not the fault."""
    found = _TWICE.search(str(error))
    if found is None:
        return None
    parts = re.findall(r"'([^']*)'", found[1])
    head = re.compile(r"\s*\[\s*" + r"\s*\.\s*".join(map(re.escape, parts)) + r"\s*\]")
    lines = [number for number, line in enumerate(text.split("\n"), 1) if head.match(line)]
    if len(lines) < 2:  # the other is an inline table, or keys with dots
        return None
    where = " and ".join(map(str, lines))
    return f"[{'.'.join(parts)}] stands twice (lines {where}); write all keys under the first"


def _parsed(text: str, path: Path, model: type[_M]) -> _M:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        why = _twice(error, text) or f"{error}{_line_of(error, text)}"
        raise SettingsError(f"{path}: not valid TOML: {why}") from error
    try:
        return model.model_validate(table)
    except ValidationError as error:
        raise SettingsError("\n".join(f"{path}: {p}" for p in refusals(error, model))) from error


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f'"{n}"' for n in names)
