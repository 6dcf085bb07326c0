"""Plants drawn with a pencil of exact truth, on all kinds of ground, to train the canopy model on.

Single leaves here and there; tufts and rosettes; the same plant many times over in rows, as in a
tray or a seed bed.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from training_grounds import ground_colour

DRAWING_PX = 320
WHOLE_PLANTS = 0.6
"""Share of drawings with tufts and rosettes, and at most three other things; the others have single
leaves and things here and there. Where it had seen no such plants, the network took dark soil among
rows of small seedlings for red leaves."""

NEAR, NEAR_TIMES = 0.25, 4
"""Share of drawings that are looked at from nearby, and how much larger everything is there, leaves
and things. Where it had seen no leaves that fill most of a picture, the network lost the insides of
broad red and pale ones."""


IN_POTS = 0.5
"""Share of these whose plants stand in pots. Where no drawn plant stood in one, the network took a
round pot of reddish soil, rim and all, for the leaves of the seedling in its middle."""


def not_green(rng, neutral: float) -> np.ndarray:
    """A Lab colour that no green leaf has; with probability `neutral` a grey."""
    hue = np.deg2rad(rng.uniform(-150, 80))
    chroma = rng.uniform(0, 6) if rng.uniform() < neutral else 45 * rng.uniform() ** 1.5
    return np.array([rng.uniform(10, 97), chroma * np.cos(hue), chroma * np.sin(hue)], np.float32)


def _rough(rng, colour, strength) -> np.ndarray:
    """A surface of about one colour (linear light), rough at two scales: (3n, 3n, 3)."""
    size = 3 * DRAWING_PX
    light = np.zeros((size, size), np.float32)
    for cells in (int(rng.integers(4, 40)), int(rng.integers(60, 240))):
        grid = rng.standard_normal((cells, cells)).astype(np.float32)
        light += cv2.resize(grid, (size, size), interpolation=cv2.INTER_CUBIC)
    hue = rng.standard_normal((int(rng.integers(3, 60)),) * 2 + (3,)).astype(np.float32)
    hue = cv2.resize(hue, (size, size), interpolation=cv2.INTER_CUBIC)
    return np.exp(strength * light[..., None] + 0.25 * strength * hue) * colour


def _leaf_colour(rng) -> np.ndarray:
    """Linear light of some leaf: mostly greens, some reds and purples."""
    if rng.uniform() < 0.75:
        hue, depth = rng.uniform(70, 150), rng.uniform(0.35, 0.8)
    else:
        hue, depth = rng.uniform(-50, 12), rng.uniform(0.45, 0.75)
    hsv = np.float32([[[hue % 360, depth, rng.uniform(0.3, 0.75)]]])
    return cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)[0, 0] ** np.float32(2.2)


def _shape(rng, times: float) -> np.ndarray:
    """A disc, a leaf, a straw or a star, three times as fine as the picture: (3n, 3n) uint8.

    `times` is how much larger it is than shapes usually are.
    """
    size = 3 * DRAWING_PX
    shape = np.zeros((size, size), np.uint8)
    centre = rng.uniform(0, size, 2)
    kind, long = rng.integers(4), times * float(np.exp(rng.uniform(np.log(9), np.log(450))))
    if kind == 3:
        ends = centre + rng.uniform(-1, 1, (4, 2)) * long
        wide = round(times * rng.integers(2, 16))
        cv2.polylines(shape, [ends.astype(np.int32)], False, 1, wide, cv2.LINE_8)
        return shape
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    if kind == 2:
        far = 0.55 + 0.45 * np.cos(rng.integers(3, 9) * turn)
    else:
        far = 1 + 0.06 * np.cos(rng.integers(3, 20) * turn + 1) * (kind == 1)
    slim = 1.0 if kind == 0 else rng.uniform(0.25, 1)
    points = long / 2 * far[:, None] * np.stack([np.cos(turn), slim * np.sin(turn)], 1)
    a = rng.uniform(0, np.pi)
    points = points @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) + centre
    cv2.fillPoly(shape, [np.rint(points).astype(np.int32)], 1)
    return shape


@dataclass(frozen=True)
class _Kind:
    """What plants of a kind have in common.

    Attributes
    ----------
    tuft : bool
        Straws in any direction; otherwise a rosette of blades.
    leaves : int
    slim : float
        A blade's width as a part of its length.
    stalk : float
        Its stalk as a part of blade and stalk together.
    straw : float
        Width of straws and stalks as a part of the plant's reach.
    """

    tuft: bool
    leaves: int
    slim: float
    stalk: float
    straw: float

    @classmethod
    def some(cls, rng) -> "_Kind":
        tuft = bool(rng.uniform() < 0.4)
        leaves = int(rng.integers(15, 80) if tuft else rng.integers(2, 18))
        return cls(tuft, leaves, *rng.uniform((0.12, 0, 0.01), (0.4, 0.5, 0.05)))


def _leaves(
    kind: _Kind, centre: np.ndarray, reach: float, times: float, rng
) -> list[tuple[np.ndarray, int]]:
    """Leaves of one plant, the lowest first: points of a line and how wide it is, or of an
    outline and 0.

    Between them lie gaps that are as narrow as a pixel and in the plant's own shade.
    """
    found, wide = [], int(np.clip(reach * kind.straw, 1, 8 * times))
    turns = rng.uniform(0, 2 * np.pi) + 2.4 * np.arange(kind.leaves)  # the golden angle
    if kind.tuft:
        turns = rng.uniform(0, 2 * np.pi, kind.leaves)
    for turn in turns:
        long, bent = reach * rng.uniform(0.4, 1), turn + rng.normal(0, 0.25)
        first = centre + rng.normal(0, 0.06 * reach, 2) * kind.tuft
        middle = first + 0.5 * long * np.array([np.cos(turn), np.sin(turn)])
        last = middle + 0.5 * long * np.array([np.cos(bent), np.sin(bent)])
        found.append((np.array([first, middle, last]), wide))
        if not kind.tuft:
            blade = first + (kind.stalk + (1 - kind.stalk) / 2) * (last - first)
            along = (1 - kind.stalk) / 2 * (last - first)
            across = kind.slim * np.array([-along[1], along[0]])
            a = np.linspace(0, 2 * np.pi, 40)[:, None]
            found.append((blade + np.cos(a) * along + np.sin(a) * across, 0))
    return found


_Plant = tuple[_Kind, np.ndarray, float]
"""What a plant is like, its centre and its reach."""


def _planted(rng, times: float) -> list[_Plant]:
    """A few plants anywhere, or many alike in rows, as in a tray or a seed bed."""
    size = 3 * DRAWING_PX
    if rng.uniform() < 0.5:
        reaches = times * np.exp(rng.uniform(np.log(15), np.log(300), rng.integers(1, 14)))
        return [(_Kind.some(rng), rng.uniform(0, size, 2), reach) for reach in reaches]
    kind = _Kind.some(rng)
    reach = times * float(np.exp(rng.uniform(np.log(12), np.log(110))))
    apart = max(reach * rng.uniform(1.6, 4), 45.0)
    rows = np.arange(rng.uniform(0, apart), size, apart)
    places = [np.array([x, y]) for y in rows for x in rows if rng.uniform() < 0.9]
    places = [place + rng.normal(0, 0.1 * apart, 2) for place in places]
    return [(kind, place, reach * np.exp(rng.normal(0, 0.2))) for place in places]


def _put_pots(light: np.ndarray, plants: list[_Plant], rng) -> None:
    """Draw round or square pots with soil around plants, seldom right in their middle."""
    soil = _rough(rng, ground_colour(rng), rng.uniform(0.05, 0.5))
    rim = _rough(rng, ground_colour(rng), rng.uniform(0.01, 0.12))
    wide, is_round = rng.uniform(0.04, 0.2), rng.uniform() < 0.7
    roomy = float(np.exp(rng.uniform(np.log(0.8), np.log(4))))
    for _, centre, reach in plants:
        half = roomy * reach * float(np.exp(rng.normal(0, 0.1)))
        middle = np.rint(centre + rng.normal(0, 0.12 * half, 2)).astype(int)
        for found, far in ((rim, half), (soil, half * (1 - wide))):
            shape = np.zeros(light.shape[:2], np.uint8)
            if is_round:
                cv2.circle(shape, tuple(map(int, middle)), max(1, round(far)), 1, -1)
            else:
                low, high = (tuple(int(v) for v in middle + n * round(far)) for n in (-1, 1))
                cv2.rectangle(shape, low, high, 1, -1)
            light[shape > 0] = found[shape > 0]
        if rng.uniform() < 0.7:  # the rim's shade on the soil
            turn, dark = rng.uniform(0, 2 * np.pi), rng.uniform(0.3, 0.8)
            step = np.rint(wide * half * 2 * np.array([np.cos(turn), np.sin(turn)])).astype(int)
            lit = np.zeros(light.shape[:2], np.uint8)
            at = tuple(map(int, middle + step))
            cv2.circle(lit, at, max(1, round(half * (1 - wide))), 1, -1)
            light[(shape > 0) & (lit == 0)] *= np.float32(1 - dark)


def _drawn_leaf(points: np.ndarray, wide: int, size: int) -> tuple[tuple[slice, slice], np.ndarray]:
    """Where a leaf lies, and its mask there."""
    low = np.clip(np.floor(points.min(0)).astype(int) - wide - 1, 0, size)
    high = np.clip(np.ceil(points.max(0)).astype(int) + wide + 2, 0, size)
    mask = np.zeros(np.maximum(high - low, 0)[::-1], np.uint8)
    at = np.rint(points - low).astype(np.int32)
    if mask.size and wide:
        cv2.polylines(mask, [at], False, 1, wide, cv2.LINE_8)
    elif mask.size:
        cv2.fillPoly(mask, [at], 1)
    return (slice(low[1], high[1]), slice(low[0], high[0])), mask > 0


def _put_plants(light: np.ndarray, leaf_light: np.ndarray, times: float, rng) -> np.ndarray:
    """Draw plants into the light, over their pots and the shade that they throw; where they are."""
    plants = _planted(rng, times)
    if rng.uniform() < IN_POTS:
        _put_pots(light, plants, rng)
    found = [leaf for plant in plants for leaf in _leaves(*plant, times, rng)]
    leaves = [_drawn_leaf(*leaf, len(light)) for leaf in found]
    every = np.zeros(light.shape[:2], np.uint8)
    for at, mask in leaves:
        every[at] |= mask
    soft = cv2.GaussianBlur(every.astype(np.float32), (0, 0), rng.uniform(3, 14))
    step = tuple(int(n) for n in rng.integers(-8, 9, 2))
    light *= (1 - rng.uniform(0, 0.85) * np.roll(soft, step, (0, 1)))[..., None]
    low = rng.uniform(0.4, 1)
    for at, mask in leaves:
        tint = rng.uniform(low, 1) * np.exp(rng.normal(0, 0.12)) * np.exp(rng.normal(0, 0.05, 3))
        light[at][mask] = leaf_light[at][mask] * tint.astype(np.float32)
    return every


def drawing(rng) -> tuple[np.ndarray, np.ndarray]:
    """Plants, leaves and other things of drawn shapes on a rough ground.

    Linear light (n, n, 3), and the plants' share of every pixel (n, n).
    """
    light = _rough(rng, ground_colour(rng), rng.uniform(0.02, 0.35))
    plant = np.zeros(light.shape[:2], np.uint8)
    leaf = _rough(rng, _leaf_colour(rng), rng.uniform(0.01, 0.2))
    whole = rng.uniform() < WHOLE_PLANTS
    times = NEAR_TIMES if rng.uniform() < NEAR else 1
    if whole:
        plant |= _put_plants(light, leaf, times, rng)
    for _ in range(int(rng.integers(0, 4) if whole else rng.integers(3, 40))):
        shape = _shape(rng, times)
        if rng.uniform() < 0.8:
            tint = np.exp(rng.normal(0, 0.15)) * np.exp(rng.normal(0, 0.05, 3))
            light[shape > 0] = leaf[shape > 0] * tint.astype(np.float32)
            plant |= shape
        else:
            thing = cv2.cvtColor(not_green(rng, 0.6)[None, None], cv2.COLOR_LAB2RGB)[0, 0]
            light[shape > 0] = np.clip(thing, 0.02, 1) ** np.float32(2.2)
            plant &= 1 - shape
    shade = _shape(rng, times) | _shape(rng, times)
    if rng.uniform() < 0.5:
        soft = cv2.GaussianBlur(shade.astype(np.float32), (0, 0), rng.uniform(2, 12))
        light *= (1 - rng.uniform(0.3, 0.75) * soft)[..., None]
    size = (DRAWING_PX, DRAWING_PX)
    small = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    cover = cv2.resize(plant.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return small, cover
