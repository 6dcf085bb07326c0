"""Drawn benches whose geometry is known: boards, pots, a printed tag, light from any side."""

import cv2
import numpy as np

from lapsekit.vision.homographies import project

FINE = 4
"""Sub-pixels along each side of a pixel."""


def printed_tag(number=7, name="4X4_50", cell=40):
    """A tag on its paper (two cells of margin), 0 ink and 1 paper, and its corners on it."""
    marks = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{name}"))
    cells = marks.markerSize + 2
    code = cv2.aruco.generateImageMarker(marks, number, cells) / 255
    paper = np.pad(np.kron(code, np.ones((cell, cell))), 2 * cell, constant_values=1)
    low, high = 2 * cell - 0.5, (cells + 2) * cell - 0.5
    return paper, np.array([[low, low], [high, low], [high, high], [low, high]])


def pictured(flat, to_picture, shape, around=0.35):
    """Linear light of a flat print as seen through a homography, exact to a sub-pixel."""
    height, width = shape
    # A fine pixel's centre lies at (k + 0.5) / FINE - 0.5 of the picture.
    finer = np.array([[FINE, 0, (FINE - 1) / 2], [0, FINE, (FINE - 1) / 2], [0, 0, 1.0]])
    fine = cv2.warpPerspective(
        flat.astype(np.float32), finer @ to_picture, (width * FINE, height * FINE),
        flags=cv2.INTER_LINEAR, borderValue=around,
    )  # fmt: skip
    return cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA)


def developed(light, tone=lambda x: x, blur=0.8, sharpen=0.0, noise=0.0, seed=0):
    """Linear light (0 to 1) as a camera's 8-bit picture: lens, tone curve, sharpening, noise."""
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), blur)
    x = np.clip(tone(light), 0, 1)
    y = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-6) ** (1 / 2.4) - 0.055)
    y = y + sharpen * (y - cv2.GaussianBlur(y.astype(np.float32), (0, 0), 1.2))
    y = y * 255 + np.random.default_rng(seed).normal(0, noise, y.shape)
    return (np.clip(y, 0, 255) + 0.5).astype(np.uint8)


def camera(tilt_deg, way_deg=30.0, px_per_cm=7.0, shape=(480, 640), focal_px=700.0):
    """Homography from cm on the bench (origin under the picture's middle) to pixels."""
    tilt, way = np.deg2rad([tilt_deg, way_deg])
    turn = cv2.Rodrigues(tilt * np.array([np.cos(way), np.sin(way), 0]))[0]
    height, width = shape
    lens = np.array([[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1]])
    return lens @ np.c_[turn[:, :2], [0, 0, focal_px / px_per_cm]]


def bench(shape=(480, 640), seed=0, boards=True):
    """Reflectance of a bench: boards with grain and gaps, pots with crumbs; what does not grow."""
    rng = np.random.default_rng(seed)
    height, width = shape
    grain = cv2.GaussianBlur(rng.normal(0, 1, shape).astype(np.float32), (0, 0), 7, sigmaY=0.9)
    knots = cv2.GaussianBlur(rng.normal(0, 1, shape).astype(np.float32), (0, 0), 2.0)
    wood = 0.3 * np.exp(0.5 * grain / grain.std() * 0.5 + 0.08 * knots / knots.std())
    if boards:
        wood[np.arange(height) % 61 < 3] = 0.03
    crumbs = 0.08 * np.exp(0.5 * rng.normal(0, 1, shape))
    y, x = np.mgrid[:height, :width]
    for cx, cy, r in ((0.2, 0.25, 60), (0.55, 0.3, 70), (0.8, 0.7, 55), (0.3, 0.75, 50)):
        far = np.hypot(x - cx * width, y - cy * height)
        wood = np.where(far < r, 0.35 + 0.05 * (x / width), wood)
        wood = np.where(far < r - 8, cv2.GaussianBlur(crumbs, (0, 0), 0.7), wood)
    return wood.astype(np.float32)


def sunlit(reflectance, shadow=None, power=1.0):
    """Light from a bench of which the polygon `shadow` (n, 2) lies in the shade."""
    lit = np.ones(reflectance.shape, np.float32)
    if shadow is not None:
        cv2.fillPoly(lit, [np.array(shadow, np.int32)], 0.3)
    return reflectance * lit * power


def moved(light, matrix):
    """A picture moved by a homography of pixels."""
    size = light.shape[::-1]
    return cv2.warpPerspective(
        light, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
    )


def movement(shape, shift=(0.0, 0.0), turn_deg=0.0, zoom=1.0):
    """Turn and zoom about the picture's middle, then a shift (px): (3, 3)."""
    height, width = shape
    onto = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -turn_deg, zoom)
    onto[:, 2] += shift
    return np.vstack([onto, [0, 0, 1]])


def worst_px(found, true, shape):
    """95th percentile over the picture of how far two movements put a point apart."""
    height, width = shape
    grid = np.stack(np.meshgrid(np.linspace(0, width - 1, 9), np.linspace(0, height - 1, 7)), -1)
    off = np.linalg.norm(project(found, grid) - project(true, grid), axis=-1)
    return float(np.quantile(off, 0.95))
