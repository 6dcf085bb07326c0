"""One small class per kind of camera behind one method, :meth:`Camera.take`.

Adding a kind: a model in ``settings/cameras.py``, a module here with a class that has ``take``,
and a line in :func:`_of_kind`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from lapsekit.errors import CameraError

if TYPE_CHECKING:  # the process that reads a camera needs no settings
    from zoneinfo import ZoneInfo

    from lapsekit import settings


def _nothing() -> None:
    """What most cameras do when a picture of theirs was filed."""


@dataclass(frozen=True)
class Shot:
    """One picture as the camera gave it.

    Attributes
    ----------
    data : bytes
        Content of a picture file.
    taken_at : datetime
        UTC instant of the exposure.
    notes : tuple of str
        What the camera did not do as season.toml asks, for the grower to read.
    filed : callable
        To be called once the picture is safely filed: a watched folder remembers then that it
        need not hand this one out again.
    """

    data: bytes
    taken_at: datetime
    notes: tuple[str, ...] = ()
    filed: Callable[[], None] = field(default=_nothing, compare=False, repr=False)


class Camera(Protocol):
    """Anything that can take one picture."""

    def take(self, now: datetime) -> Shot:
        """Take one picture.

        Parameters
        ----------
        now : datetime
            The present instant, in UTC, by whatever clock the season runs on.

        Raises
        ------
        CameraError
            If there is no picture; says what to check.
        """
        ...


def open_camera(name: str, model: settings.Camera, season_folder: Path, zone: ZoneInfo) -> Camera:
    """The camera that season.toml describes; asked while no other process asks it.

    Parameters
    ----------
    name : str
        Its name there.
    model : settings.Camera
    season_folder : pathlib.Path
        What its paths start from.
    zone : zoneinfo.ZoneInfo
        The season's time zone, for pictures whose time carries no offset.

    Raises
    ------
    CameraError
        If cameras of this kind take no pictures.
    NotTrusted
        If it would run a program or send a password, and the folder is not trusted.
    """
    from lapsekit.cameras.alone import Alone
    from lapsekit.trust import require_for_camera

    require_for_camera(season_folder, name, model)
    return Alone(_of_kind(name, model, season_folder, zone), name, season_folder)


def _of_kind(name: str, model: settings.Camera, season_folder: Path, zone: ZoneInfo) -> Camera:
    from lapsekit import settings

    match model:
        case settings.ReplayCamera():
            from lapsekit.cameras.replay import Replay

            return Replay(season_folder / model.folder)
        case settings.CommandCamera():
            from lapsekit.cameras.command import Command

            return Command(model.command, model.time_limit_s, season_folder, bool(model.privacy))
        case settings.HttpCamera():
            from lapsekit.cameras.http import Http

            return Http(model, season_folder)
        case settings.UsbCamera():
            from lapsekit.cameras.usb import Usb

            return Usb(model)
        case settings.PiCamera():
            from lapsekit.cameras.pi import Pi

            return Pi(model)
        case settings.RtspCamera():
            from lapsekit.cameras.rtsp import Rtsp

            return Rtsp(model, season_folder)
        case settings.WatchedCamera():
            from lapsekit.cameras.watched import Watched

            return Watched(name, model, season_folder, zone)
    raise CameraError(
        f'camera "{name}" is of kind "{model.kind}", which takes no pictures by itself; bring '
        f"pictures in with lapsekit import FOLDER --camera {name}"
    )
