"""From linear light to the JPEG of a cheap camera: exposure, white balance, tone, noise, dew."""

from __future__ import annotations

import io

import cv2
import numpy as np
from PIL import Image

from .layout import CARDS, HEIGHT, WIDTH, View
from .story import ZONE, Frame, camera_turn, day_time

JPEG_QUALITY = 80
_LUMINANCE = np.float32([0.2126, 0.7152, 0.0722])


def drift(frame: Frame) -> tuple[float, np.ndarray]:
    """Exposure against what the meter asks for, and the gains of red, green and blue."""
    time = day_time(frame.moment)
    rng = np.random.default_rng([61, int(frame.moment.timestamp()) // 60])
    slow = 0.05 * np.sin(time / 6.3) + 0.03 * np.sin(time / 2.1)
    gains = np.array([1 + slow + rng.normal(0, 0.018), 1.0, 1 - slow + rng.normal(0, 0.022)])
    exposure = np.exp(rng.normal(0, 0.06)) * {"dark": 0.02, "blown-out": 7.5}.get(frame.state, 1.0)
    return float(exposure), gains


def develop(light: np.ndarray, frame: Frame) -> np.ndarray:
    """Develop a linear picture.

    Parameters
    ----------
    light : ndarray of float32, shape (720, 960, 3)
        Linear light, RGB.
    frame : Frame

    Returns
    -------
    ndarray of uint8, shape (720, 960, 3)
        RGB.
    """
    rng = np.random.default_rng([62, int(frame.moment.timestamp()) // 60])
    exposure, gains = drift(frame)
    meter = 0.17 / np.exp(np.mean(np.log(light @ _LUMINANCE + 1e-3)))
    x = light * (meter**0.9 * exposure) * _white_balance(light, frame) * gains.astype(np.float32)
    y_at, x_at = np.mgrid[-1 : 1 : HEIGHT * 1j, -1 : 1 : WIDTH * 1j]
    x = x * (1 - 0.20 * (x_at**2 + y_at**2) / 2)[..., None]
    if frame.state == "dew":
        x = _dew(x.astype(np.float32), rng)
    x = cv2.GaussianBlur(x.astype(np.float32), (0, 0), 0.42)
    x = np.clip(x, 0, None)
    x = np.clip(x * (1 + x / 7) / (1 + 0.93 * x), 0, 1)
    y = np.where(x <= 0.0031308, x * 12.92, 1.055 * np.maximum(x, 1e-6) ** (1 / 2.4) - 0.055)
    y = y + 0.06 * (y - 0.5) * (1 - np.abs(2 * y - 1))
    grey = y.mean(-1, keepdims=True)
    y = grey + (y - grey) * 1.05
    grain = (
        rng.standard_normal((HEIGHT, WIDTH, 1)) * 0.75
        + rng.standard_normal((HEIGHT, WIDTH, 3)) * 0.45
    )
    grain = cv2.GaussianBlur(grain.astype(np.float32), (0, 0), 0.6) * 1.5
    y = y + (0.026 if frame.state == "dark" else 0.0075) * grain * (0.5 + np.sqrt(np.clip(y, 0, 1)))
    y = y + 0.35 * (y - cv2.GaussianBlur(y.astype(np.float32), (0, 0), 1.2))
    return (np.clip(y, 0, 1) * 255 + 0.5).astype(np.uint8)


def _white_balance(light, frame):
    """Gains a camera finds by itself: mostly from the whole picture, a little from whites."""
    ((px, py),) = (
        View(*camera_turn(day_time(frame.moment))).project([(*CARDS[0][1], 0.003)])[0].astype(int)
    )
    card = light[py - 8 : py + 8, px - 10 : px + 10].reshape(-1, 3).mean(0)
    whole = light.reshape(-1, 3).mean(0)
    if frame.state == "obstructed":  # the card may be hidden
        return ((whole[1] / whole) ** 0.6).astype(np.float32)
    gains = (card[1] / card) ** 0.65 * (whole[1] / whole) ** 0.2
    return gains.astype(np.float32)


def _dew(x, rng):
    """Dew on the lens: a veil, soft in patches, and drops that smear what lies behind them."""
    soft, softer = (cv2.GaussianBlur(x, (0, 0), s) for s in (3.5, 11))
    patches = cv2.resize(rng.uniform(-0.2, 1.2, (9, 12)).astype(np.float32), (WIDTH, HEIGHT),
                         interpolation=cv2.INTER_CUBIC)[..., None]  # fmt: skip
    veiled = soft + (softer - soft) * np.clip(patches, 0, 1)
    drops = np.zeros((HEIGHT, WIDTH), np.float32)
    for _ in range(70):
        at = (int(rng.uniform(0, WIDTH)), int(rng.uniform(0, HEIGHT)))
        size = 6 + 22 * rng.uniform() ** 3
        axes = (int(size), int(size * rng.uniform(0.8, 1.1)))
        cv2.ellipse(drops, at, axes, rng.uniform(0, 180), 0, 360, 1.0, -1)
    drops = cv2.GaussianBlur(drops, (0, 0), 2.5)[..., None]
    behind = np.roll(cv2.GaussianBlur(x, (0, 0), 6)[::-1, ::-1], (40, 60), (0, 1))
    bright = 1.15 * (0.6 * softer + 0.4 * behind)
    return (veiled * (1 - drops) + bright * drops) * 0.8 + 0.2 * x.mean()


def jpeg(picture: np.ndarray, frame: Frame) -> bytes:
    """The file as the camera hands it over: JPEG with local time, and no place."""
    local = frame.moment.astimezone(ZONE)
    exif = Image.Exif()
    exif.get_ifd(0x8769).update(
        {0x9003: f"{local:%Y:%m:%d %H:%M:%S}", 0x9011: local.isoformat()[-6:]}
    )
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=JPEG_QUALITY, optimize=True, exif=exif)
    data = file.getvalue()
    return data[: len(data) * 2 // 5] if frame.state == "truncated" else data


def with_time(data: bytes, frame: Frame) -> bytes:
    """The same picture handed over again at another time, as a frozen camera does."""
    old, new = (f"{f.moment.astimezone(ZONE):%Y:%m:%d %H:%M:%S}".encode() for f in (
        Frame(frame.repeats), frame))  # fmt: skip
    return data.replace(old, new, 1)
