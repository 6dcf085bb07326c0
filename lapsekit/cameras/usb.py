"""A camera on USB, by OpenCV and Video4Linux, read in a process of its own."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from lapsekit.cameras import Shot
from lapsekit.cameras.apart import Note, take_apart
from lapsekit.errors import CameraError

if TYPE_CHECKING:
    from lapsekit import settings

_MANUAL, _AUTOMATIC = 1, 3
"""V4L2_EXPOSURE_MANUAL and V4L2_EXPOSURE_APERTURE_PRIORITY, as the kernel's V4L2 controls name
them; the latter is what USB video cameras call automatic."""

_UNITS_A_MS = 10
"""V4L2_CID_EXPOSURE_ABSOLUTE counts units of 100 µs."""

_TAKEN_WITHIN = 0.1
"""Devices know steps: a value that is off by less than this share was taken."""


class Usb:
    """Opens the device for one picture and lets go of it again.

    Parameters
    ----------
    model : settings.UsbCamera
        Device number, size, warm-up frames, what is fixed, JPEG quality.
    """

    def __init__(self, model: settings.UsbCamera):
        self._model = model

    def take(self, now: datetime) -> Shot:
        """Take one picture after the warm-up frames, in which exposure settles."""
        wanted = self._model.model_dump(
            mode="json",
            include={
                "kind",
                "device",
                "width",
                "height",
                "warm_up_frames",
                "exposure_ms",
                "white_balance_k",
                "jpeg_quality",
            },
        )
        name = f"the camera at {_path(self._model.device)}"
        return take_apart(wanted, name, self._model.time_limit_s, now)


def read_usb(wanted: dict, until: float, note: Note) -> bytes:
    """One picture of a device; a `lapsekit.cameras.apart.Reader`."""
    import cv2

    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    number = wanted["device"]
    device = cv2.VideoCapture(number, cv2.CAP_V4L2)
    try:
        if not device.isOpened():
            raise CameraError(
                f"no camera answers at {_path(number)}; check the cable, that you may read the "
                "device (group video), and that no other program holds it"
            )
        picture = picture_from(device, wanted, until, note)
    except cv2.error as error:
        raise CameraError(
            f"{_path(number)} opened but cannot be read ({error.err}); unplug it once, and try "
            "another width and height"
        ) from error
    finally:
        device.release()
    quality = [cv2.IMWRITE_JPEG_QUALITY, wanted["jpeg_quality"]]
    return cv2.imencode(".jpg", picture, quality)[1].tobytes()


def picture_from(device: Any, wanted: dict, until: float, note: Note) -> Any:
    """Set an open ``cv2.VideoCapture`` up, let it warm up, and take the next picture.

    Raises
    ------
    CameraError
        If it gives no picture, or not in time.
    """
    _set_up(device, wanted, note)
    path = _path(wanted["device"])
    for number in range(wanted["warm_up_frames"] + 1):
        given, picture = device.read()
        if not given:
            raise CameraError(
                f"{path} opened but gave no picture; unplug it once, and try a powered hub or a "
                "smaller width and height"
            )
        if time.monotonic() > until:
            raise CameraError(
                f"{path} gave only {number + 1} pictures in time; ask for fewer warm_up_frames, a "
                "smaller width and height, or raise time_limit_s"
            )
    height, width = picture.shape[:2]
    if wanted["width"] and (wanted["width"], wanted["height"]) != (width, height):
        note(
            f"{path} gives {width} x {height} px, not {wanted['width']} x {wanted['height']}: it "
            "does not know that size"
        )
    return picture


def _set_up(device: Any, wanted: dict, note: Note) -> None:
    import cv2

    if wanted["width"] and wanted["height"]:
        device.set(cv2.CAP_PROP_FRAME_WIDTH, wanted["width"])
        device.set(cv2.CAP_PROP_FRAME_HEIGHT, wanted["height"])
    path, exposure, white = (
        _path(wanted["device"]),
        wanted["exposure_ms"],
        wanted["white_balance_k"],
    )

    def told(what: str) -> Callable[[float], None]:
        def tell(value: float) -> None:
            shown = f"it says {value:g}" if value > 0 else "it has no such control"
            note(f"{path} did not take {what}: {shown}")

        return tell

    device.set(cv2.CAP_PROP_AUTO_EXPOSURE, _AUTOMATIC if exposure is None else _MANUAL)
    if exposure is not None:
        units = max(1, round(exposure * _UNITS_A_MS))
        _fix(device, cv2.CAP_PROP_EXPOSURE, units, told(f"exposure_ms = {exposure:g}"))
    device.set(cv2.CAP_PROP_AUTO_WB, int(white is None))
    if white is not None:
        _fix(device, cv2.CAP_PROP_WB_TEMPERATURE, white, told(f"white_balance_k = {white}"))


def _fix(device: Any, control: int, value: int, tell: Callable[[float], None]) -> None:
    """Set a control, read it back, and tell if it is not there."""
    device.set(control, value)
    found = device.get(control)
    if abs(found - value) > max(1.0, _TAKEN_WITHIN * value):
        tell(found)


def _path(device: int) -> str:
    return f"/dev/video{device}"
