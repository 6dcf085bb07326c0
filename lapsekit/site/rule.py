"""The season's canopy rule as one compact file, for a follower's browser.

``site_template/canopy`` holds a program (C, compiled to WebAssembly) that does with a picture what
`lapsekit mask` does. It knows the steps; every number of the rule is in this file, so that it
stands in one place only, in `lapsekit.vision`.

The file is a row of lists. Each begins with two 32-bit numbers, its kind (1: floats of 32 bits,
2: of 16, where they say the same) and its length; then come its numbers, filled up to a multiple
of four bytes. All are little-endian. The lists are, in this order: `NUMBERS`; linear light of the
256 values of a channel, and of the 33 levels of a grid. For the trained model follow the 256
logarithms; the Gaussian kernels of 1.5 px, of 4 px at half resolution, of 12 and 32 px at a quarter
resolution, and the kernel of the pure colours; the perceptron's lowest and highest features, its
hidden layer and its output; the 17 convolutions; what the two numbers that are told of a file's
colours add to each result of the first; and of the second look the levels of the 256 values of a
channel, the lowest and highest figures and its three layers. A layer is its shape (results,
channels, places on a side), its weights and its offsets.
"""

import struct

import cv2
import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.vision import (
    canopy,
    cleaning,
    colour,
    cover,
    doubtful,
    edges,
    features,
    indices,
    leaf_likeness,
    network,
    perceptron,
    reduction,
    second_look,
)
from lapsekit.vision import own_colours as own
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.layers import Convolution, read_layers

NUMBERS = (
    *("method", "least_long_side_px", "speck_px", "hole_px", "index_above", "index_sign"),
    *("cive_red", "cive_green", "cive_blue", "cive_offset", "veg_exponent"),
    *("com_exg", "com_exgr", "com_cive", "com_veg", "mexg_red", "mexg_green", "mexg_blue"),
    *("margin_px", "step_px", "dark", "grey_a", "never", "hand_bias"),
    *("own_leaf", "own_ground", "own_weight", "own_most", "own_least_px", "own_sample_px"),
    *("own_ridge", "own_clip", "strip_px", "least_strip_rows"),
    *("no_leaf", "leaf", "network", "least_odds"),
    *("piece_px", "band_px", "faint_odds", "gap_px", "unsure_colour", "firm"),
    *("colour_variance", "least_variance"),
    *("pure_near_px", "pure_far_px", "purer"),
    *("least_pure_leaf", "least_pure_ground", "least_contrast"),
    *("look_unsure", "look_most_odds", "look_sure", "look_least_sure_px", "look_around_px"),
    *("look_far_px", "look_beside_px"),
    *("look_near_px", "look_like_px", "look_like_wider_px"),
    *("look_least_around", "look_least_far", "look_even", "look_counted", "look_lost"),
    *("like_levels", "like_smoothed", "like_smoothed_light", "like_least_px", "like_rare"),
)
"""Names of the first list's numbers, in their order; those of ``site_template/canopy/canopy.h``."""

GRID_LEVELS = 33
"""OpenCV finds L*a*b* of floats between the points of a grid of so many levels a channel."""

STEPS = (
    *("Conv", *("Conv", "Relu") * 7, "Conv", "Resize", "Add"),
    *(*("Conv", "Relu", "Conv", "Resize", "Add") * 2, "Conv", "Relu"),
    *("Conv", "Conv", "Add", "Relu", "Conv"),
)
"""Steps of a network that the program can run: those of the shipped model."""

PLACES = (2, *(3,) * 7, *(1, 3) * 3, 1, 1, 1)
"""Places on a side of its convolutions."""

#: The program looks at a pixel's features by four; those that it has no more of are 0.
_ORDER = (*range(4), *range(6, 22), 4, 5, 22)
_FILL = 24 - len(_ORDER)


def rule_file(method: str, model: CanopyModel | None = None) -> bytes:
    """Everything that the program in the browser must know of a season's rule.

    Parameters
    ----------
    method : str
        The season's ``canopy.method``.
    model : CanopyModel, optional
        Needed for "model" only.

    Returns
    -------
    bytes

    Raises
    ------
    SettingsError
        If the method is unknown, its model is not given, or the model's network is built otherwise
        than the shipped one: then a browser cannot run it.
    """
    lists = [_numbers(method, model), colour.LINEAR, _linear(np.arange(GRID_LEVELS) / 32)]
    if method == "model":
        lists += [colour.LOGARITHMS, *_kernels(), *_perceptron(model.perceptron), *_network(model)]
        lists += _second_look(model.second_look)
    return b"".join(_packed(each) for each in lists)


def _numbers(method: str, model: CanopyModel | None) -> np.ndarray:
    """`NUMBERS` of a method; those that it does not use are 0."""
    if method in indices.INDICES:
        found = {"method": 1 + list(indices.INDICES).index(method), **_index_numbers(method)}
    elif method == "model" and model is not None:
        found = {"method": 0, **_model_numbers(model)}
    else:
        raise SettingsError(f'canopy.method "{method}": no rule, or no model was given for it')
    found |= {
        "least_long_side_px": reduction.LEAST_LONG_SIDE_PX,
        "speck_px": cleaning.SPECK_PX,
        "hole_px": cleaning.HOLE_PX,
        "dark": features.DARK,
    }
    return np.array([found.get(name, 0) for name in NUMBERS], np.float32)


def _index_numbers(method: str) -> dict[str, float]:
    index = indices.INDICES[method]
    weights = zip(("com_exg", "com_exgr", "com_cive", "com_veg"), indices.COM_WEIGHTS, strict=True)
    return {
        "index_above": np.nan if index.above is None else index.above,
        "index_sign": -1 if index.lower_is_greener else 1,
        "cive_red": indices.CIVE_RED,
        "cive_green": indices.CIVE_GREEN,
        "cive_blue": indices.CIVE_BLUE,
        "cive_offset": indices.CIVE_OFFSET,
        "veg_exponent": indices.VEG_EXPONENT,
        "mexg_red": indices.MEXG_RED,
        "mexg_green": indices.MEXG_GREEN,
        "mexg_blue": indices.MEXG_BLUE,
        **dict(weights),
    }


def _model_numbers(model: CanopyModel) -> dict[str, float]:
    return {
        "margin_px": network.MARGIN_PX,
        "step_px": network.STEP_PX,
        "grey_a": perceptron.GREY_A,
        "never": perceptron.NEVER,
        "hand_bias": model.perceptron.output_bias,
        "own_leaf": own.LEAF,
        "own_ground": own.GROUND,
        "own_weight": own.WEIGHT,
        "own_most": own.MOST,
        "own_least_px": own.LEAST_PX,
        "own_sample_px": own.SAMPLE_PX,
        "own_ridge": own.RIDGE,
        "own_clip": own.CLIP,
        "strip_px": own.STRIP_PIXELS,
        "least_strip_rows": own.LEAST_STRIP_ROWS,
        "no_leaf": canopy.NO_LEAF,
        "leaf": canopy.LEAF,
        "network": canopy.NETWORK,
        "least_odds": model.least_odds,
        "piece_px": cover.PIECE_PX,
        "band_px": cover.BAND_PX,
        "faint_odds": cover.FAINT_ODDS,
        "gap_px": cover.GAP_PX,
        "unsure_colour": cover.UNSURE_COLOUR,
        "firm": cover.FIRM,
        "colour_variance": cover.COLOUR_VARIANCE,
        "least_variance": cover.LEAST_VARIANCE,
        "pure_near_px": edges.PURE_PX[0],
        "pure_far_px": edges.PURE_PX[1],
        "purer": edges.PURER,
        "least_pure_leaf": edges.LEAST_PURE_LEAF,
        "least_pure_ground": edges.LEAST_PURE_GROUND,
        "least_contrast": edges.LEAST_CONTRAST,
        "look_unsure": doubtful.UNSURE,
        "look_most_odds": doubtful.MOST_ODDS,
        "look_sure": doubtful.SURE,
        "look_least_sure_px": doubtful.LEAST_SURE_PX,
        "look_around_px": doubtful.AROUND_PX,
        "look_far_px": doubtful.FAR_PX,
        "look_beside_px": doubtful.BESIDE_PX,
        "look_near_px": doubtful.NEAR_PX,
        "look_like_px": doubtful.LIKE_PX[0],
        "look_like_wider_px": doubtful.LIKE_PX[1],
        "look_least_around": doubtful.LEAST_AROUND,
        "look_least_far": doubtful.LEAST_FAR,
        "look_even": doubtful.EVEN,
        "look_counted": second_look.AMID_DOUBT[0],
        "look_lost": second_look.AMID_DOUBT[1],
        "like_levels": leaf_likeness.LEVELS,
        "like_smoothed": leaf_likeness.SMOOTHED,
        "like_smoothed_light": leaf_likeness.SMOOTHED_LIGHT,
        "like_least_px": leaf_likeness.LEAST_PX,
        "like_rare": leaf_likeness.RARE,
    }


def _linear(levels: np.ndarray) -> np.ndarray:
    """Linear light of sRGB levels, 0 to 1."""
    return np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)


def _kernels() -> list[np.ndarray]:
    near, narrow = features.NEAR_PX
    widths = [near, features.half_sigma(narrow)]
    widths += [sigma / features.GRID_PX for sigma in features.WIDE_PX]
    found = [cv2.getGaussianKernel(features.kernel_px(sigma), sigma) for sigma in widths]
    once, again = (np.full(side, 1 / side) for side in edges.NEARBY)
    return [*(each[:, 0] for each in found), np.convolve(once, again)]


def _perceptron(judge: perceptron.Perceptron) -> list[np.ndarray]:
    lowest, highest, weights, biases, output = judge.layers
    lowest, highest = (np.pad(side[_ORDER, 0], (0, _FILL)) for side in (lowest, highest))
    weights = np.pad(weights[:, _ORDER], ((0, 0), (0, _FILL)))
    return [lowest, highest, *_layer(weights[..., None, None], biases[:, 0]), output]


def _layer(weights: np.ndarray, biases: np.ndarray) -> list[np.ndarray]:
    return [np.array([*weights.shape[:3]]), weights.ravel(), biases]


def _network(model: CanopyModel) -> list[np.ndarray]:
    steps, found = read_layers(model.network.content)
    if steps != STEPS or tuple(each.weights.shape[2] for each in found) != PLACES:
        raise SettingsError(
            "canopy model: its network is built otherwise than the shipped one, so that browsers "
            "cannot run it; train it with this version of lapsekit"
        )
    # Planes that are the same all over add an offset
    told = found[0].weights[:, 3:].sum(axis=(2, 3))
    first = Convolution(found[0].weights[:, :3], found[0].biases)
    layers = [each for layer in (first, *found[1:]) for each in _layer(layer.weights, layer.biases)]
    return [*layers, told.ravel()]


def _second_look(look: second_look.SecondLook) -> list[np.ndarray]:
    layers = [_layer(weights[..., None, None], biases) for weights, biases in look.layers]
    return [
        leaf_likeness.LEVEL_OF,
        look.lowest,
        look.highest,
        *(part for layer in layers for part in layer),
    ]


def _packed(numbers: np.ndarray) -> bytes:
    """One list."""
    floats = np.asarray(numbers, "<f4")
    with np.errstate(over="ignore"):
        halves = floats.astype("<f2")
    short = np.array_equal(halves.astype("<f4"), floats) and np.isfinite(floats).all()
    content = (halves if short else floats).tobytes()
    return struct.pack("<II", 2 if short else 1, floats.size) + content + bytes(-len(content) % 4)
