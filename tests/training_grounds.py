"""Other soils, pots and boards under plants whose truth is known, to train the canopy model on."""

import cv2
import numpy as np

THINGS = 5
"""Kinds of things, by their colour, that a rendered frame's ground is parted into."""

CHANGED = 0.6
"""Share of these kinds that get another colour."""

LIKE_LEAVES = 0.25
"""Share of changed kinds that get the colour of red leaves in the frame, where there are some: then
only their shape and grain tell one from the other. Without these, red lettuce on soil of its own
colour was lost."""

FEWEST_RED = 500
"""Pixels of red leaves that a frame must show for that."""

SOILS = (
    # sRGB of moist and dry soils, from black peat over brown and red loams to sand
    (34, 28, 25), (50, 38, 30), (66, 48, 36), (84, 58, 42), (104, 76, 54), (128, 98, 70),
    (92, 52, 36), (112, 58, 40), (134, 70, 46), (150, 88, 56), (78, 40, 32), (120, 64, 52),
    (160, 116, 78), (184, 152, 112), (206, 182, 146), (96, 88, 78),
)  # fmt: skip
CLAYS = (
    # of fired clay, new, pale with lime, and dark when wet
    (188, 104, 70), (204, 122, 86), (170, 84, 58), (148, 70, 50), (214, 150, 118), (196, 138, 110),
    (126, 62, 46), (222, 172, 140), (180, 96, 76), (158, 92, 72),
)  # fmt: skip
OTHERS = (
    # of plastic, stone, felt and wood
    (30, 30, 32), (70, 72, 74), (120, 122, 124), (176, 176, 172), (226, 224, 218), (58, 70, 96),
    (86, 110, 146), (140, 112, 84), (188, 160, 120), (96, 70, 52), (150, 60, 52), (120, 84, 112),
)  # fmt: skip


def ground_colour(rng) -> np.ndarray:
    """Linear light of some soil, pot or board: (3,) float32."""
    kind = (SOILS, CLAYS, OTHERS)[rng.choice(3, p=(0.5, 0.25, 0.25))]
    colour = (np.float32(kind[rng.integers(len(kind))]) / 255) ** np.float32(2.2)
    return colour * np.exp(rng.normal(0, 0.10, 3) + rng.normal(0, 0.25)).astype(np.float32)


def _kinds(light: np.ndarray, bare: np.ndarray, rng) -> tuple[np.ndarray, np.ndarray]:
    """Kinds of things by colour, as a weight of each kind at every pixel (THINGS, H, W), and the
    mean light of each (THINGS, 3).
    """
    logs = np.log(light + 0.004)
    seen = np.dstack([2 * (logs[..., 0] - logs[..., 1]), 2 * (logs[..., 2] - logs[..., 1]),
                      0.2 * logs[..., 1]]).astype(np.float32)  # fmt: skip
    seen = cv2.GaussianBlur(seen, (0, 0), 2)
    some = rng.choice(np.flatnonzero(bare), 4000)
    cv2.setRNGSeed(int(rng.integers(1 << 30)))
    rule = (cv2.TERM_CRITERIA_MAX_ITER, 20, 0)
    points = seen.reshape(-1, 3)[some]
    centres = cv2.kmeans(points, THINGS, None, rule, 1, cv2.KMEANS_PP_CENTERS)[2]
    far = np.stack([((seen - centre) ** 2).sum(-1) for centre in centres])
    nearest = far.argmin(0)
    weights = np.stack(
        [cv2.GaussianBlur(np.float32(nearest == k), (0, 0), 1.5) for k in range(THINGS)]
    )
    inside = [bare & (nearest == k) for k in range(THINGS)]
    means = [light[at].mean(0) if at.any() else light[bare].mean(0) for at in inside]
    return weights, np.float32(means)


def other_grounds(light: np.ndarray, cover: np.ndarray, rng) -> np.ndarray:
    """A rendered frame on other soil, in other pots, on other boards.

    All that is no plant is parted into kinds by its colour, and some kinds get the colour of
    another soil, pot or board; what is light and dark there stays. A pixel that a leaf covers in
    part changes by what is seen beside the leaf.

    Parameters
    ----------
    light : (H, W, 3) float32
        Linear light.
    cover : (H, W) float32
        Share of plant in every pixel, 0 to 1.

    Returns
    -------
    (H, W, 3) float32
    """
    bare = cover < 0.01
    if bare.sum() < 5000:
        return light
    weights, means = _kinds(light, bare, rng)
    red = light[(cover > 0.98) & (light[..., 0] > light[..., 1])]
    meter = np.exp(np.log(light.mean(axis=2) + 1e-3).mean()) / 0.17
    gains = np.zeros(light.shape, np.float32)
    for weight, mean in zip(weights, means, strict=True):
        if rng.uniform() < CHANGED:
            is_like = len(red) > FEWEST_RED and rng.uniform() < LIKE_LEAVES
            colour = red[rng.integers(len(red), size=50)].mean(0) if is_like else None
            colour = ground_colour(rng) * meter if colour is None else colour
            gain = np.log((colour + 1e-3) / (mean + 1e-3))
            whole = gain.mean()  # as light as before, or nearly: shade is to stay shade
            gains += weight[..., None] * (gain - whole + np.clip(whole, -1, 0.6))
    share = cover[..., None]
    inside = np.float32(cover > 0.98)
    near = cv2.GaussianBlur(inside, (0, 0), 3)[..., None] + 1e-4
    leaf = share * cv2.GaussianBlur(light * inside[..., None], (0, 0), 3) / near
    leaf = np.where(share > 0.98, light, np.minimum(leaf, light))
    return leaf + (light - leaf) * np.exp(np.clip(gains, -2, 2))
