"""Spoils good frames in ways whose truth is known: blur, dew, exposure, visitors, glare."""

import cv2
import numpy as np

#: What a visitor may wear or hold, sRGB: from dark soil's colour to white, no two alike.
CLOTHS = {
    "light skin": (224, 182, 158),
    "brown skin": (141, 92, 66),
    "dark skin": (74, 48, 38),
    "black glove": (28, 28, 30),
    "soil-brown glove": (66, 50, 40),
    "grey glove": (120, 118, 114),
    "white glove": (226, 226, 222),
    "green glove": (70, 122, 60),
    "yellow glove": (218, 184, 62),
    "denim": (70, 92, 132),
    "red cloth": (160, 44, 46),
    "wood-brown cloth": (128, 104, 84),
    "dark green cloth": (44, 62, 42),
}
STRAW, STEEL, HANDLE = (208, 184, 128), (150, 154, 158), (126, 82, 48)


def _linear(picture):
    return (np.asarray(picture, np.float32) / 255) ** 2.2


def _encoded(light):
    return (np.clip(light, 0, 1) ** (1 / 2.2) * 255 + 0.5).astype(np.uint8)


def as_jpeg(picture, quality=80):
    """The picture after a camera's JPEG."""
    data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()


def blurred(picture, sigma_px):
    """Out of focus."""
    return cv2.GaussianBlur(picture, (0, 0), sigma_px)


def shaken(picture, length_px, angle_deg):
    """Moved during the exposure."""
    kernel = np.zeros((length_px, length_px), np.float32)
    kernel[length_px // 2] = 1
    middle = (length_px / 2 - 0.5, length_px / 2 - 0.5)
    turn = cv2.getRotationMatrix2D(middle, angle_deg, 1)
    kernel = cv2.warpAffine(kernel, turn, (length_px, length_px))
    return cv2.filter2D(picture, -1, kernel / kernel.sum())


def exposed(picture, factor):
    """More or less light, with the sensor's noise where light is scarce."""
    noise = np.random.default_rng(5).normal(0, 1.2, picture.shape)
    return np.clip(_encoded(_linear(picture) * factor) + noise, 0, 255).astype(np.uint8)


def bedewed(picture, rng, strength):
    """Drops on the lens: many small discs, each a smeared view of its surroundings, and a veil."""
    height, width = picture.shape[:2]
    light = _linear(picture)
    smear = cv2.GaussianBlur(light, (0, 0), width * 0.012)
    wet = np.zeros((height, width), np.float32)
    for _ in range(int(260 * strength)):
        at = (int(rng.integers(width)), int(rng.integers(height)))
        cv2.circle(wet, at, int(width * rng.uniform(0.015, 0.05)), float(rng.uniform(0.5, 1)), -1)
    wet = cv2.GaussianBlur(wet, (0, 0), width * 0.006)[..., None]
    veil = light.mean() * 0.5 * strength
    return _encoded(((1 - wet) * light + wet * smear) * (1 - 0.3 * strength) + veil)


def hazed(picture, share):
    """Fog or a misted pane: contrast goes, edges stay."""
    light = _linear(picture)
    return _encoded(light * (1 - share) + share * light.mean() * 1.6)


def glared(picture, rng, radius_share):
    """The sun's reflection: a burnt-out patch with a halo."""
    height, width = picture.shape[:2]
    y, x = np.mgrid[:height, :width].astype(np.float32)
    cx, cy = rng.uniform(0.15, 0.85) * width, rng.uniform(0.15, 0.85) * height
    away = np.hypot((x - cx), (y - cy) * rng.uniform(0.8, 1.3)) / (radius_share * width)
    glow = 1.8 * np.exp(-(away**4)) + 0.25 * np.exp(-away)
    return _encoded(_linear(picture) + glow[..., None])


def _limb(mask_shape, start, end, wide, narrow):
    """Alpha and shading of a tapering round limb."""
    height, width = mask_shape
    y, x = np.mgrid[:height, :width].astype(np.float32)
    along = np.array(end, float) - start
    length = np.hypot(*along)
    ux, uy = along / length
    t = np.clip(((x - start[0]) * ux + (y - start[1]) * uy) / length, 0, 1)
    off = (x - start[0]) * uy - (y - start[1]) * ux
    away = np.hypot(x - (start[0] + t * along[0]), y - (start[1] + t * along[1]))
    radius = wide + (narrow - wide) * t
    alpha = np.clip(radius - away + 0.5, 0, 1)
    shade = 0.55 + 0.45 * np.sqrt(np.clip(1 - (off / (radius + 1e-3) * 0.8 - 0.25) ** 2, 0.05, 1))
    return alpha, shade


def _lay(light, alpha, colour, shade, rng, level):
    height, width = alpha.shape
    weave = rng.normal(1, 0.05, (height, width)).astype(np.float32)
    folds = cv2.resize(rng.normal(1, 0.10, (height // 24, width // 24)).astype(np.float32),
                       (width, height), interpolation=cv2.INTER_CUBIC)  # fmt: skip
    body = _linear(colour) * level * (shade * weave * folds)[..., None]
    return light * (1 - alpha[..., None]) + body * alpha[..., None]


def _light_level(light):
    """Light that a white sheet would send back in this frame: its brightest ordinary surfaces."""
    return float(np.percentile(light.max(-1), 98)) * 1.1


def _shadowed(light, alpha, offset, depth):
    move = np.float32([[1, 0, offset[0]], [0, 1, offset[1]]])
    shadow = cv2.warpAffine(alpha, move, alpha.shape[::-1])
    shadow = cv2.GaussianBlur(shadow, (0, 0), 3)[..., None]
    return light * (1 - depth * shadow)


def visited(picture, rng, kind, cloth, reach_share):
    """Somebody between camera and bench.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
    rng : numpy.random.Generator
    kind : {"arm", "hand", "hat", "trowel", "can"}
    cloth : str
        A key of `CLOTHS`: hand and sleeve, or the can.
    reach_share : float
        How far it reaches into the picture, as a share of its height.

    Returns
    -------
    picture, share : ndarray, float
        The frame, as a camera's JPEG, and the share of it that is covered.
    """
    height, width = picture.shape[:2]
    light = _linear(picture)
    level = _light_level(light)
    angle = rng.uniform(0.25, 0.75) * np.pi
    foot = np.array([rng.uniform(0.08, 0.92) * width, height + 0.08 * height])
    reach = reach_share + 0.08
    hand = foot + np.array([np.cos(angle), -np.sin(angle)]) * reach * height
    unit = height * 0.06
    turn = int(rng.integers(4))
    parts = _parts(kind, foot, hand, unit, rng)
    colour_of = {"cloth": CLOTHS[cloth], "straw": STRAW, "steel": STEEL, "handle": HANDLE}
    colour_of["sleeve"] = CLOTHS[str(rng.choice(list(CLOTHS)))] if kind == "arm" else CLOTHS[cloth]
    work = np.ascontiguousarray(np.rot90(light, turn)) if turn in (0, 2) else light
    total = np.zeros(work.shape[:2], np.float32)
    offset = rng.uniform(-0.08, 0.08, 2) * height
    layers = [(_limb(work.shape[:2], *where), colour) for where, colour in parts]
    for (alpha, _), _colour in layers:
        total = np.maximum(total, alpha)
    work = _shadowed(work, total, offset, rng.uniform(0, 0.6))
    for (alpha, shade), colour in layers:
        work = _lay(work, alpha, colour_of[colour], shade, rng, level)
    if turn in (0, 2):
        work = np.rot90(work, -turn)
    return as_jpeg(_encoded(work)), float(total.mean())


def _parts(kind, foot, hand, unit, rng):
    """Limbs (start, end, wide, narrow) of a visitor, with what each is made of."""
    ahead = (hand - foot) / np.hypot(*(hand - foot))
    side = np.array([-ahead[1], ahead[0]])
    if kind == "hat":
        middle = (hand - ahead * 2.6 * unit, hand - ahead * 2.5 * unit)
        return [((*middle, reach * unit, reach * unit), "straw") for reach in (3, 1.5)]
    if kind == "can":
        body = (hand - ahead * 2.2 * unit, hand - ahead * 2 * unit, 2 * unit, 2 * unit)
        spout = (hand - ahead * unit, hand + ahead * unit, 0.35 * unit, 0.3 * unit)
        return [(body, "cloth"), (spout, "cloth")]
    if kind == "trowel":
        return [((foot, hand - ahead * 1.6 * unit, 0.33 * unit, 0.33 * unit), "handle"),
                ((hand - ahead * 1.4 * unit, hand, 0.75 * unit, 0.3 * unit), "steel")]  # fmt: skip
    wrist = hand - ahead * 1.5 * unit
    parts = [((wrist, hand - ahead * 0.7 * unit, 0.55 * unit, 0.75 * unit), "cloth")]
    for k in range(5):
        spread = (k - 2) * 0.32 + rng.normal(0, 0.05)
        tip = hand + (ahead + side * spread * 0.6) * unit * rng.uniform(0.4, 1.0)
        root = hand - ahead * 0.8 * unit + side * spread * unit
        parts.append(((root, tip, 0.22 * unit, 0.18 * unit), "cloth"))
    if kind == "arm":
        parts.insert(0, ((foot, wrist, 1.0 * unit, 0.6 * unit), "sleeve"))
    else:
        parts.insert(0, ((foot, wrist, 0.5 * unit, 0.5 * unit), "cloth"))
    return parts
