"""A camera on USB, by OpenCV and Video4Linux."""

from datetime import datetime

from lapsekit import settings
from lapsekit.cameras import Shot
from lapsekit.errors import CameraError


class Usb:
    """Opens the device for one picture and lets go of it again.

    Parameters
    ----------
    model : settings.UsbCamera
        Device number, size, warm-up frames, JPEG quality.
    """

    def __init__(self, model: settings.UsbCamera):
        self._model = model

    def take(self, now: datetime) -> Shot:
        """Take one picture after the warm-up frames, in which exposure settles."""
        import cv2

        device = cv2.VideoCapture(self._model.device, cv2.CAP_V4L2)
        try:
            if not device.isOpened():
                raise CameraError(
                    f"no camera answers at /dev/video{self._model.device}; check the cable, that "
                    "you may read the device (group video), and that no other program holds it"
                )
            if self._model.width and self._model.height:
                device.set(cv2.CAP_PROP_FRAME_WIDTH, self._model.width)
                device.set(cv2.CAP_PROP_FRAME_HEIGHT, self._model.height)
            for _ in range(self._model.warm_up_frames + 1):
                given, picture = device.read()
        finally:
            device.release()
        if not given:
            raise CameraError(
                f"/dev/video{self._model.device} opened but gave no picture; unplug it once, and "
                "try a powered hub"
            )
        quality = [cv2.IMWRITE_JPEG_QUALITY, self._model.jpeg_quality]
        return Shot(cv2.imencode(".jpg", picture, quality)[1].tobytes(), now)
