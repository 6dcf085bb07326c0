"""A trained network, run by OpenCV: a picture in, log odds at every pixel out."""

import threading

import cv2
import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.vision.colour import LOGARITHMS, require_picture
from lapsekit.vision.detail import WHOLE, Detail

STEP_PX = 16
"""The network halves its picture four times: sides must be multiples of this."""

MARGIN_PX = 16
"""Mirrored around the picture, so that no pixel of it sees the border of the network's layers."""

BESIDE_PX = 48
"""Shown beside a part of a picture: what lies further off changes no share by more than 0.01, and
from 64 px on it changes nothing at all."""

MOST_PX = 450_000
"""Pictures of more pixels are looked at in parts, each with what lies beside it: the network works
in 150 bytes a pixel, and a small board has little memory."""

Part = tuple[slice, slice]


class Network:
    """A network that takes a picture's planes (1, 5, H, W) to log odds (1, 4, H/2, W/2).

    The planes are the logarithms of red, green and blue, and the two numbers of a `Detail`. The
    four results of a place are for its upper left, upper right, lower left and lower right pixel:
    the log odds that a point in it is leaf.

    Parameters
    ----------
    content : bytes
        The network in the open format ONNX.

    Raises
    ------
    SettingsError
        If OpenCV cannot read the network, or it does not take such a picture to such odds.
    """

    def __init__(self, content: bytes):
        self.content = content
        self._threads = threading.local()
        try:
            found = self._run(np.zeros((4 * STEP_PX, 4 * STEP_PX, 3), np.uint8), WHOLE)
        except cv2.error as error:
            raise SettingsError(
                f"canopy model: OpenCV {cv2.__version__} cannot run its network ({error.err}); "
                "restore the shipped file or train it again"
            ) from error
        if found.shape != (1, 4, 2 * STEP_PX, 2 * STEP_PX) or not np.isfinite(found).all():
            raise SettingsError(
                f"canopy model: its network gives {found.shape}, expected two finite log odds "
                "for four pixels a place; restore the shipped file or train it again"
            )

    def _run(self, picture: np.ndarray, detail: Detail) -> np.ndarray:
        """Results for a picture whose sides are multiples of `STEP_PX`; one network a thread."""
        if not hasattr(self._threads, "network"):
            content = np.frombuffer(self.content, np.uint8)
            self._threads.network = cv2.dnn.readNetFromONNX(content)
        planes = np.empty((1, 5, *picture.shape[:2]), np.float32)
        for plane, levels in zip(planes[0, :3], cv2.split(picture), strict=True):
            cv2.LUT(levels, LOGARITHMS, plane)
        planes[0, 3], planes[0, 4] = detail.halved, detail.coarseness
        self._threads.network.setInput(planes)
        return self._threads.network.forward()

    def odds(self, picture: np.ndarray, detail: Detail = WHOLE) -> np.ndarray:
        """Log odds at each pixel that a point in it is leaf.

        Parameters
        ----------
        picture : (H, W, 3) uint8 ndarray
            RGB, 0 to 255, sRGB-encoded.
        detail : Detail
            How finely its file keeps colours.

        Returns
        -------
        (H, W) float32 ndarray

        Raises
        ------
        PictureError
            If the picture is not (H, W, 3) uint8.
        """
        require_picture(picture)
        shape = picture.shape[:2]
        below, right = (MARGIN_PX + -side % STEP_PX for side in shape)
        way = cv2.BORDER_REFLECT_101 if min(shape) > 1 else cv2.BORDER_REPLICATE
        framed = cv2.copyMakeBorder(picture, MARGIN_PX, below, MARGIN_PX, right, way)
        found = np.empty(shape, np.float32)
        for part in _parts(tuple(slice(0, side) for side in shape)):
            found[part] = self._odds_of(part, framed, detail)
        return found

    def _odds_of(self, part: Part, framed: np.ndarray, detail: Detail) -> np.ndarray:
        """Log odds of a part of a picture, shown with what lies beside it."""
        first = [max(0, side.start + MARGIN_PX - BESIDE_PX) for side in part]
        last = [side.stop + -side.stop % STEP_PX + MARGIN_PX + BESIDE_PX for side in part]
        shown = framed[first[0] : last[0], first[1] : last[1]]  # cut where the framed one ends
        found = self._run(shown, detail)[0]
        whole = np.empty([2 * side for side in found.shape[1:]], np.float32)
        for number, plane in enumerate(found):
            whole[number // 2 :: 2, number % 2 :: 2] = plane
        at = [side.start + MARGIN_PX - start for side, start in zip(part, first, strict=True)]
        size = [side.stop - side.start for side in part]
        return whole[at[0] : at[0] + size[0], at[1] : at[1] + size[1]]

    def rest(self) -> None:
        """Give back what it works in, up to 70 MB a thread; it is made again when used.

        Not while another thread is at work with it.
        """
        self._threads = threading.local()

    def __getstate__(self) -> bytes:
        return self.content

    def __setstate__(self, content: bytes) -> None:
        self.content, self._threads = content, threading.local()


def _parts(part: Part) -> list[Part]:
    """Halves of a picture's longer side, and halves of these, until each has few enough pixels."""
    sizes = [side.stop - side.start for side in part]
    if sizes[0] * sizes[1] <= MOST_PX:
        return [part]
    longer = int(sizes[1] >= sizes[0])
    middle = part[longer].start + sizes[longer] // 2 // STEP_PX * STEP_PX
    low, high = list(part), list(part)
    low[longer] = slice(part[longer].start, middle)
    high[longer] = slice(middle, part[longer].stop)
    return [*_parts(tuple(low)), *_parts(tuple(high))]
