"""One small class per kind of camera behind one method, :meth:`Camera.take`.

Adding a kind: a model in ``settings.py``, a module here with a class that has ``take``, and a
line in :func:`open_camera`.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from lapsekit import settings
from lapsekit.errors import CameraError
from lapsekit.trust import require_for_camera


@dataclass(frozen=True)
class Shot:
    """One picture as the camera gave it.

    Attributes
    ----------
    data : bytes
        Content of a picture file.
    taken_at : datetime
        UTC instant of the exposure.
    """

    data: bytes
    taken_at: datetime


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


def open_camera(name: str, model: settings.Camera, season_folder: Path) -> Camera:
    """The camera that season.toml describes.

    Raises
    ------
    CameraError
        If cameras of this kind take no pictures.
    NotTrusted
        If it would run a program or send a password, and the folder is not trusted.
    """
    require_for_camera(season_folder, name, model)
    match model:
        case settings.ReplayCamera():
            from lapsekit.cameras.replay import Replay

            return Replay(season_folder / model.folder)
        case settings.CommandCamera():
            from lapsekit.cameras.command import Command

            return Command(model.command, model.time_limit_s, season_folder)
        case settings.HttpCamera():
            from lapsekit.cameras.http import Http

            return Http(model, season_folder)
        case settings.UsbCamera():
            from lapsekit.cameras.usb import Usb

            return Usb(model)
    raise CameraError(
        f'camera "{name}" is of kind "{model.kind}", which takes no pictures by itself; bring '
        f"pictures in with lapsekit import FOLDER --camera {name}"
    )
