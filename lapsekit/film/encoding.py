"""Pictures in, one H.264 file out. imageio (with its PyAV plugin) lives here only."""

import os
from collections.abc import Iterable
from pathlib import Path

import imageio.v3 as imageio
import numpy as np

from lapsekit.errors import FilmError
from lapsekit.safely import PART


def encode_film(target: Path, pictures: Iterable[np.ndarray], frames_per_second: int) -> int:
    """Encode an MP4 that browsers play and can start before it is loaded whole.

    H.264, yuv420p, index in front. Written under a temporary name beside `target` and renamed
    when it is complete.

    Parameters
    ----------
    target : pathlib.Path
        The film; its folder exists.
    pictures : iterable of ndarray of uint8, shape (height, width, 3)
        RGB, all of one size, even in both directions.
    frames_per_second : int
        Pace.

    Returns
    -------
    int
        Number of pictures.

    Raises
    ------
    FilmError
        If there is no picture, or the file could not be written; `target` stays as it was.
    """
    part = target.with_name(f"{PART}{os.getpid()}-{target.name}")
    count = 0
    try:
        with imageio.imopen(part, "w", plugin="pyav", options={"movflags": "faststart"}) as film:
            film.init_video_stream("libx264", fps=frames_per_second, pixel_format="yuv420p")
            for picture in pictures:
                film.write_frame(np.ascontiguousarray(picture))
                count += 1
        if not count:
            raise FilmError(f"{target}: there is no picture to make a film of")
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as error:
        raise FilmError(f"{target}: the film was not written ({error})") from error
    finally:
        part.unlink(missing_ok=True)
    return count
