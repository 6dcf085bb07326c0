"""A Raspberry Pi's own camera, by its command-line still tool."""

import shutil
from datetime import datetime
from pathlib import Path

from lapsekit import settings
from lapsekit.cameras import Shot
from lapsekit.cameras.command import output_of
from lapsekit.errors import CameraError

TOOLS = ("rpicam-still", "libcamera-still")
"""The still tool's name, and the one it had before 2023."""

_SETTLE_MS = 2000
"""How long the tool looks before it takes a picture whose light it has to judge by itself."""

_HINTS = {
    "no cameras available": "check the ribbon cable at both ends, with the power off",
    "busy": "another program holds the camera; stop it",
    "in use": "another program holds the camera; stop it",
    "permission": "add this user to the group video",
}


class Pi:
    """Asks the still tool for one picture.

    Parameters
    ----------
    model : settings.PiCamera
    """

    def __init__(self, model: settings.PiCamera):
        self._model = model

    def take(self, now: datetime) -> Shot:
        """Take one picture; it counts as taken when it was asked for."""
        tool = next((name for name in TOOLS if shutil.which(name)), None)
        if tool is None:
            raise CameraError(
                f"the Pi camera's still tool is not there ({' or '.join(TOOLS)}); on a Raspberry "
                'Pi, install it with: sudo apt install rpicam-apps. Other cameras are of kind "usb"'
            )
        name = f"the Pi camera (by {tool})"
        command = [tool, *arguments(self._model)]
        try:
            data = output_of(command, name, self._model.time_limit_s, Path("/"))
        except CameraError as error:
            raise CameraError(f"{error}{_hint(str(error))}") from error
        if not data:
            raise CameraError(f"{name} ended without a picture; try {' '.join(command)} by hand")
        return Shot(data, now)


def arguments(model: settings.PiCamera) -> list[str]:
    """What the still tool is asked for. It writes to standard output: no disk sees the picture.

    What is fixed needs no look around first: with light, gain and colour all given, the picture
    is taken at once.
    """
    fixed = (model.exposure_ms, model.gain, model.white_balance_gains)
    found = ["--nopreview", "--camera", str(model.number), "--encoding", "jpg"]
    found += ["--quality", str(model.jpeg_quality), "--output", "-"]
    found += ["--timeout", str(_SETTLE_MS)] if None in fixed else ["--immediate"]
    if model.width is not None:
        found += ["--width", str(model.width), "--height", str(model.height)]
    if model.exposure_ms is not None:
        found += ["--shutter", str(round(model.exposure_ms * 1000))]
    if model.gain is not None:
        found += ["--gain", f"{model.gain:g}"]
    if model.white_balance_gains is not None:
        found += ["--awbgains", ",".join(f"{gain:g}" for gain in model.white_balance_gains)]
    if model.focus_dioptres is not None:
        found += ["--autofocus-mode", "manual", "--lens-position", f"{model.focus_dioptres:g}"]
    if model.upside_down:
        found += ["--rotation", "180"]
    return found


def _hint(told: str) -> str:
    return next((f"; {what}" for sign, what in _HINTS.items() if sign in told.lower()), "")
