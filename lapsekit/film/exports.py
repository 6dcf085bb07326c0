"""What goes out of a film beside the film: poster, text tracks, stills, a short teaser."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from pathlib import Path

import av
import imageio.v3 as imageio
import numpy as np
from av.filter import Graph
from av.video.reformatter import Interpolation

from lapsekit.errors import FilmError
from lapsekit.film.encoding import local, written_whole
from lapsekit.film.tracks import CAPTIONS, CHAPTERS, POSTER, Cue, vtt
from lapsekit.safely import write_safely

#: Kinds of stills, and of teasers.
STILLS, TEASERS = ("png", "jpg"), ("gif", "webp")
#: A teaser is shown at this pace, so long, and no larger on its longer side.
TEASER_PER_SECOND, TEASER_S, TEASER_PX = 10, 4, 400
#: So slow that no more than two and a half flashes fit into a second.
TEASER_CALM_PER_SECOND = 5
#: All pictures of a teaser are in memory at once: its colours are chosen to suit them all.
MOST_TEASER = 200
_STILL = re.compile(r"\d{5,}-\d{4}-\d\d-\d\d\.(png|jpg)")
_SHRINKING = int(Interpolation.AREA | Interpolation.ACCURATE_RND | Interpolation.FULL_CHR_H_INP)
# Colours are dealt out by how much of the film they fill; a dither that stays where it is from
# picture to picture flickers less, and is smaller, than one that spreads errors.
_PALETTE = "256"
_DITHER = "bayer:bayer_scale=5:diff_mode=rectangle"


def write_beside(
    film: Path, poster: np.ndarray, chapters: Sequence[Cue] = (), captions: Sequence[Cue] = ()
) -> list[Path]:
    """Write what stands beside a film under its name: ``-poster.jpg``, and tracks as WebVTT.

    A track that has no cue is taken away.

    Parameters
    ----------
    film : pathlib.Path
        The film that they belong to.
    poster : ndarray of uint8, shape (height, width, 3)
        RGB; shown until somebody presses play.
    chapters, captions : sequence of Cue
        For ``-chapters.vtt`` and ``-captions.vtt``.

    Returns
    -------
    list of pathlib.Path
        What is there now.

    Raises
    ------
    FilmError
        If one cannot be written.
    """
    wanted = {POSTER: encoded(poster, "jpg")}
    for ending, cues in ((CHAPTERS, chapters), (CAPTIONS, captions)):
        wanted[ending] = vtt(cues) if cues else b""
    written = []
    for ending, content in wanted.items():
        path = film.with_name(film.stem + ending)
        if content:
            _write(path, content)
            written.append(path)
        else:
            path.unlink(missing_ok=True)
    return written


def still_name(number: int, day: date, kind: str) -> str:
    """Name of a still: ``00012-2031-04-17.png``; names are in the order of the film.

    Parameters
    ----------
    number : int
        Which picture of the film, counted from 1.
    day : date
        The local day that it shows.
    kind : {"png", "jpg"}
    """
    return f"{number:05}-{day}.{kind}"


def write_stills(
    folder: Path, days: Sequence[date], pictures: Iterable[np.ndarray], kind: str = "png"
) -> list[Path]:
    """Write every picture of a film as a file of its own.

    Stills of an earlier, longer film are taken away; other files in the folder stay.

    Parameters
    ----------
    folder : pathlib.Path
        Made if needed.
    days : sequence of date
        The day that each picture shows.
    pictures : iterable of ndarray of uint8, shape (height, width, 3)
        RGB, as many as `days`.
    kind : {"png", "jpg"}

    Returns
    -------
    list of pathlib.Path

    Raises
    ------
    FilmError
        If `kind` is another, or a file cannot be written.
    """
    if kind not in STILLS:
        raise FilmError(f'{folder}: no kind of still "{kind}"; there are {", ".join(STILLS)}')
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number, (day, picture) in enumerate(zip(days, pictures, strict=True), start=1):
        paths.append(folder / still_name(number, day, kind))
        _write(paths[-1], encoded(picture, kind))
    for file in set(folder.iterdir()) - set(paths):
        if _STILL.fullmatch(file.name):
            file.unlink()
    return paths


def teaser_choice(count: int, seconds: float = TEASER_S) -> list[int]:
    """Which pictures of a film make its teaser: evenly spread, first and last among them.

    Parameters
    ----------
    count : int
        How many pictures the film has.
    seconds : float
        How long the teaser may be at most.

    Returns
    -------
    list of int
        In order, each once, counted from 0.
    """
    most = max(1, min(count, MOST_TEASER, int(seconds * TEASER_PER_SECOND)))
    return [round(each) for each in np.linspace(0, count - 1, most)] if count else []


def write_teaser(
    target: Path, pictures: Iterable[np.ndarray], per_second: int = TEASER_PER_SECOND
) -> int:
    """Write a short animation without end that plays where films do not: in mail, in a chat.

    Parameters
    ----------
    target : pathlib.Path
        A ``.gif`` (256 colours, plays everywhere) or a ``.webp`` (all colours, smaller).
    pictures : iterable of ndarray of uint8, shape (height, width, 3)
        RGB, all of one size; at most `MOST_TEASER`. Larger ones are shrunk.
    per_second : int
        A divisor of 100: a GIF counts in hundredths of a second.

    Returns
    -------
    int
        How many pictures it has.

    Raises
    ------
    FilmError
        If the ending is another, there is no picture or too many, or it cannot be written.
    """
    kind = target.suffix.lower().removeprefix(".")
    if kind not in TEASERS:
        raise FilmError(f"{target}: a teaser is a .{' or a .'.join(TEASERS)}")
    frames = [_small(picture) for picture in pictures]
    if not 0 < len(frames) <= MOST_TEASER:
        raise FilmError(f"{target}: a teaser has 1 to {MOST_TEASER} pictures, not {len(frames)}")
    for number, frame in enumerate(frames):
        frame.pts, frame.time_base = number, Fraction(1, per_second)
    with written_whole(target) as part:
        (_write_gif if kind == "gif" else _write_webp)(part, frames, per_second)
    return len(frames)


def encoded(picture: np.ndarray, kind: str) -> bytes:
    """Bytes of a PNG or JPEG file of an RGB picture (uint8, height x width x 3).

    Fine colours are kept: a JPEG has one for every pixel.
    """
    how = {
        "png": {"compress_level": 3},
        "jpg": {"quality": 90, "subsampling": 0, "optimize": True},
    }[kind]
    return imageio.imwrite("<bytes>", picture, plugin="pillow", extension=f".{kind}", **how)


def _write(path: Path, content: bytes) -> None:
    try:
        write_safely(path, content)
    except OSError as error:
        raise FilmError(
            f"{path}: was not written ({error}); see that the disk has room and may be written "
            "to, then film again"
        ) from error


def _small(picture: np.ndarray) -> av.VideoFrame:
    frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture))
    scale = TEASER_PX / max(frame.width, frame.height)
    if scale >= 1:
        return frame
    size = (max(1, round(side * scale)) for side in (frame.width, frame.height))
    return frame.reformat(*size, interpolation=_SHRINKING, threads=1)


def _write_gif(part: Path, frames: list[av.VideoFrame], per_second: int) -> None:
    graph = Graph()
    graph.threads = 1
    first = frames[0]
    source = graph.add_buffer(
        width=first.width,
        height=first.height,
        format=first.format,
        time_base=Fraction(1, per_second),
    )
    split, palette = graph.add("split"), graph.add("palettegen", f"max_colors={_PALETTE}")
    dealt, sink = graph.add("paletteuse", f"dither={_DITHER}"), graph.add("buffersink")
    source.link_to(split)
    split.link_to(dealt, 0, 0)
    split.link_to(palette, 1, 0)
    palette.link_to(dealt, 0, 1)
    dealt.link_to(sink)
    graph.configure()
    for frame in [*frames, None]:
        graph.push(frame)
    few = (graph.pull() for _ in frames)
    _write_animation(part, few, _Animation("gif", "pal8", first.width, first.height, per_second))


def _write_webp(part: Path, frames: list[av.VideoFrame], per_second: int) -> None:
    full = (frame.reformat(format="bgra") for frame in frames)
    how, first = {"quality": "70", "compression_level": "4"}, frames[0]
    kind = _Animation("libwebp_anim", "bgra", first.width, first.height, per_second, how)
    _write_animation(part, full, kind)


@dataclass(frozen=True)
class _Animation:
    """What an animation's encoder is told."""

    codec: str
    pixel_format: str
    width: int
    height: int
    per_second: int
    options: dict[str, str] | None = None


def _write_animation(part: Path, frames: Iterable[av.VideoFrame], kind: _Animation) -> None:
    with av.open(local(part), "w", options={"loop": "0"}) as film:
        stream = film.add_stream(kind.codec, kind.per_second, kind.options)
        stream.width, stream.height = kind.width, kind.height
        stream.pix_fmt, stream.time_base = kind.pixel_format, Fraction(1, kind.per_second)
        for frame in frames:
            film.mux(stream.encode(frame))
        film.mux(stream.encode(None))
