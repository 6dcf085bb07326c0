"""Leaves and other things drawn to a fraction of a pixel and photographed: truth known exactly."""

from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.vision.detail import MOST_COARSE, Detail

GREEN, PALE, RED = (72, 120, 48), (128, 168, 84), (98, 44, 50)
SOIL, WOOD, DARK_SOIL = (96, 76, 58), (142, 122, 99), (60, 46, 36)
FINE = 4


@dataclass(frozen=True)
class Camera:
    """What a camera does to a picture.

    Attributes
    ----------
    blur_px : float
        Sigma of the lens.
    sharpening, grain : float
        Strength of an unsharp mask of 1.2 px; standard deviation of noise, against 255.
    quality : int
        Of the JPEG; colour at half resolution (4:2:0).
    """

    blur_px: float = 0.7
    sharpening: float = 0.3
    grain: float = 2.0
    quality: int = 85

    @property
    def detail(self) -> Detail:
        """What its files tell of their colours."""
        return Detail(1.0, min((100 - self.quality) / 50, MOST_COARSE))


def linear(colour) -> np.ndarray:
    return (np.float32(colour) / 255) ** np.float32(2.2)


def rough(shape, colour, strength, cell_px, seed) -> np.ndarray:
    """A surface of one colour with lighter and darker cells, in linear light."""
    height, width = shape
    rng = np.random.default_rng(seed)
    cells = rng.normal(1, strength, (height // cell_px + 2, width // cell_px + 2))
    light = cv2.resize(cells.astype(np.float32), None, fx=cell_px, fy=cell_px)
    return np.clip(light[:height, :width, None], 0.2, 3) * linear(colour)


def photographed(light: np.ndarray, camera: Camera, seed: int = 0) -> np.ndarray:
    """Linear light (0 to 1) as the camera's JPEG gives it back: RGB uint8."""
    rng = np.random.default_rng([7, seed])
    light = cv2.GaussianBlur(np.clip(light, 0, 1).astype(np.float32), (0, 0), camera.blur_px)
    shown = 255 * light ** np.float32(1 / 2.2) + rng.normal(0, camera.grain, light.shape)
    shown = shown.astype(np.float32)
    shown += camera.sharpening * (shown - cv2.GaussianBlur(shown, (0, 0), 1.2))
    return compressed(np.rint(np.clip(shown, 0, 255)).astype(np.uint8), camera.quality)


def compressed(picture: np.ndarray, quality: int) -> np.ndarray:
    options = [cv2.IMWRITE_JPEG_QUALITY, quality]
    options += [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420]
    data = cv2.imencode(".jpg", picture[..., ::-1], options)[1]
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


def share(fine: np.ndarray) -> np.ndarray:
    """Coverage of each pixel by a shape drawn `FINE` times as fine."""
    size = (fine.shape[1] // FINE, fine.shape[0] // FINE)
    return cv2.resize(fine.astype(np.float32), size, interpolation=cv2.INTER_AREA)


def rosette(size_px: int, centre, reach_px: float, leaves: int = 7, turn: float = 0.3):
    """A plant of broad leaves seen from above, `FINE` times as fine: bool (size, size)."""
    y, x = (np.mgrid[: size_px * FINE, : size_px * FINE] + 0.5) / FINE
    dy, dx = y - centre[1], x - centre[0]
    far, way = np.hypot(dx, dy), np.arctan2(dy, dx)
    return far < reach_px * (0.62 + 0.38 * np.cos(leaves * (way - turn)))


def scene(fine, leaf=GREEN, ground=SOIL, camera=None, seed=0, roughness=0.12):
    """Picture and coverage of leaves of a shape on rough ground."""
    cover = share(fine)
    back = rough(cover.shape, ground, roughness, 4, [seed, 1])
    front = rough(cover.shape, leaf, 0.06, 6, [seed, 2])
    light = cover[..., None] * front + (1 - cover[..., None]) * back
    return photographed(light, camera or Camera(), seed), cover


def disc(radius_px: float, centre_px: float):
    """A disc in the middle of a square of twice `centre_px`, `FINE` times as fine."""
    n = int(2 * centre_px) * FINE
    y, x = (np.mgrid[:n, :n] + 0.5) / FINE
    return np.hypot(x - centre_px - 0.3, y - centre_px + 0.2) < radius_px
