"""The hardware encoder that this machine has, found by letting it encode; used when asked for.

A Raspberry Pi 4 has one for H.264, up to 1920 x 1080 px at 30 pictures a second; a Raspberry Pi 5
has none. It is faster than the processor and makes larger files of the same quality.
"""

import tempfile
from dataclasses import replace
from pathlib import Path

import av
import numpy as np

from lapsekit.errors import FilmError
from lapsekit.film.encoding import RECIPES, Recipe, encode

#: Encoders that are tried, best first.
ENCODERS = ("h264_v4l2m2m",)
#: Told a bit rate, not a quality: about what the processor's encoder takes for busy leaves.
_BITS_PER_PIXEL = 0.15
_PICTURES = 8
_MOST_APART = 8  # levels


def hardware_recipe(
    width: int, height: int, frames_per_second: int, encoders: tuple[str, ...] = ENCODERS
) -> Recipe:
    """How to encode a film for the web by this machine's hardware.

    Parameters
    ----------
    width, height : int
        Size of the film's pictures, px.
    frames_per_second : int
    encoders : tuple of str
        Which to try, in order.

    Returns
    -------
    Recipe

    Raises
    ------
    FilmError
        If no encoder does it; says what each one answered, and what to do instead.
    """
    answers = []
    for codec in encoders:
        recipe = replace(RECIPES["web"], codec=codec, options=(), bits_per_pixel=_BITS_PER_PIXEL)
        answer = _tried(recipe, width, height, frames_per_second)
        if answer is None:
            return recipe
        answers.append(f"{codec}: {answer}")
    raise FilmError(
        f"this machine's hardware encodes no film of {width} x {height} px at {frames_per_second} "
        f"pictures a second ({'; '.join(answers)}); film without the hardware encoder, or smaller: "
        "a Raspberry Pi 4 does 1920 x 1080 px at 30, a Raspberry Pi 5 has none"
    )


def _tried(recipe: Recipe, width: int, height: int, frames_per_second: int) -> str | None:
    """Encode a few pictures and read them back; None if they are right, or else what is wrong."""
    shades = [np.full((height, width, 3), 40 + 20 * n, np.uint8) for n in range(_PICTURES)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "tried.mp4")
        try:
            encode(path, shades, recipe, frames_per_second)
            with av.open(str(path)) as film:
                seen = [frame.to_ndarray(format="rgb24") for frame in film.decode(video=0)]
        except (FilmError, OSError, av.FFmpegError) as error:
            return str(error.__cause__ or error)
    if len(seen) != _PICTURES:
        return f"gave {len(seen)} pictures back for {_PICTURES}"
    # Row by row: a stripe below, where the height is none that the encoder likes, is wrong too.
    apart = [np.abs(a.astype(int) - b).mean(axis=(1, 2)) for a, b in zip(seen, shades, strict=True)]
    return "gave other pictures back" if np.max(apart) > _MOST_APART else None
