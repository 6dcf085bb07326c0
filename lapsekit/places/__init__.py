"""Where files go: a folder, a machine reached by rsync over SSH, WebDAV, or any remote of rclone.

The site is published there, and copies of a season are kept there. All replace a file by the whole
new one: rsync, WebDAV and the folder write beside and rename; of the remotes that rclone knows,
`Rclone.caution` says which do not.
"""

import shutil
from collections.abc import Callable, Collection, Sequence
from functools import partial
from pathlib import Path
from typing import Protocol

from lapsekit import settings
from lapsekit.errors import CopyError, LapsekitError, PublishError, SettingsError
from lapsekit.places.folder import Folder
from lapsekit.places.rclone import Rclone
from lapsekit.places.rsync import Rsync
from lapsekit.places.webdav import WebDav
from lapsekit.secrets import secret
from lapsekit.trust import require_trust

__all__ = [
    "Folder",
    "Place",
    "Rclone",
    "Rsync",
    "WebDav",
    "failure",
    "open_given_place",
    "open_place",
    "require_usable",
]


class Place(Protocol):
    """Somewhere files can go; a method that fails on the way raises `TransferError`."""

    caution: str

    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        ...

    def send(self, root: Path, names: Sequence[str]) -> None:
        """Put files of a folder there, under their names in it, each whole or not at all."""
        ...

    def fetch(self, names: Sequence[str], into: Path) -> None:
        """Bring files back; one that is gone, or that the far side knows is damaged, stays away."""
        ...

    def sizes(self, names: Sequence[str]) -> dict[str, int | None]:
        """Bytes of those of these files that are there, by the lists of the far side.

        None of them is read; None stands for a size that the far side does not tell.
        """
        ...

    def differing(self, root: Path, names: Sequence[str]) -> list[str]:
        """Those of a folder's files whose content there is another, or that are not there.

        Their content is read where they lie, or a hash that the far side made of it.
        """
        ...

    def listed(self, folder: str) -> list[str]:
        """All files in a folder there and in those inside, by their whole names."""
        ...

    def top(self) -> list[str]:
        """What lies at the top there, readable or not."""
        ...

    def remove(self, names: Sequence[str]) -> None:
        """Delete files there; those that are gone already are no fault."""
        ...

    def tidy(self, names: Collection[str]) -> None:
        """Delete halves of these files that a transfer which was cut off left beside them."""
        ...


def open_place(model: settings.FarTable, season_folder: Path, beside: Path | None = None) -> Place:
    """The place that a table of a season folder's season.toml names, if the folder is trusted.

    Every road from a season folder to a far place leads through here: rclone's configuration may
    name programs, a password may be any file, and a place may lie anywhere.

    Parameters
    ----------
    model : settings.FarTable
        ``[publish]`` or ``[copies]``.
    season_folder : pathlib.Path
        The season folder that it stands in; relative paths start from there.
    beside : pathlib.Path, optional
        The folder that the place must lie apart from, where that is another.

    Raises
    ------
    NotTrusted
        If the season folder is not trusted; nothing was run, read or sent then.
    SettingsError
        If it names none, or a secret cannot be read.
    PublishError, CopyError
        If a program that is needed is not installed.
    """
    require_trust(season_folder, f"use the place that its [{model.table}] names")
    return _ready(model, season_folder, beside or season_folder)()


def require_usable(model: settings.FarTable, season_folder: Path) -> None:
    """Refuse a table that `open_place` would refuse, before long work; nothing far is asked.

    Raises
    ------
    NotTrusted, SettingsError, PublishError, CopyError
        As `open_place`.
    """
    require_trust(season_folder, f"use the place that its [{model.table}] names")
    _ready(model, season_folder, season_folder)


def open_given_place(model: settings.FarTable, beside: Path) -> Place:
    """The place that options of the command line name: whoever gives them means them.

    Never for a table out of a season folder, which somebody else may have written.

    Parameters
    ----------
    model : settings.FarTable
        Made of options; relative paths start from the folder that one is in.
    beside : pathlib.Path
        The folder that the place must lie apart from.

    Raises
    ------
    SettingsError, PublishError, CopyError
        As `open_place`.
    """
    return _ready(model, Path.cwd(), beside)()


def _ready(model: settings.FarTable, base: Path, beside: Path) -> Callable[[], Place]:
    """What opens the place, once all that it needs here is there."""
    if model.to is None or model.target is None:
        raise SettingsError(
            f"{base / 'season.toml'}: nothing says where to {model.verb}; under [{model.table}] "
            'write both to = "folder", "rsync", "webdav" or "rclone", and a target'
        )
    if model.to == "folder" or model.target.startswith("/"):
        folder = (base / Path(model.target).expanduser()).resolve()
        _require_outside(f"{model.table}.target", folder, beside)
        if model.to == "folder":
            return partial(Folder, folder, model.private)
    if model.to == "webdav":
        key = f"{model.table}.password_file"
        word = model.password_file and secret(model.password_file, base, key)
        return partial(WebDav, model, word)
    if model.ssh_key and not Path(model.ssh_key).expanduser().is_file():
        raise SettingsError(f"{model.table}.ssh_key {model.ssh_key}: no such file")
    if shutil.which(model.to) is None:
        raise failure(model)(f"{model.to} is not installed; apt-get install {model.to} brings it")
    if model.to == "rsync":
        return partial(Rsync, model)
    named = getattr(model, "encrypt_with", None)
    return partial(Rclone, model, named and secret(named, base, f"{model.table}.encrypt_with"))


def failure(model: settings.FarTable) -> type[LapsekitError]:
    """The error that says what a table names cannot be used."""
    return CopyError if model.table == "copies" else PublishError


def _require_outside(key: str, target: Path, season_folder: Path) -> None:
    own = season_folder.resolve()
    if target == own or target in own.parents or own in target.parents:
        raise SettingsError(f"{key} {target}: must not hold the season folder or lie in it")
    if target.exists() and not target.is_dir():
        raise SettingsError(f"{key} {target}: is a file; name a folder")
