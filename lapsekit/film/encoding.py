"""Pictures in, one film file out. What each kind of file is made of stands in its `Recipe`."""

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Self

import av
import numpy as np
from av.video.reformatter import (
    ColorPrimaries,
    ColorRange,
    Colorspace,
    ColorTrc,
    Interpolation,
    VideoReformatter,
)

from lapsekit.errors import FilmError
from lapsekit.safely import part_of

#: A film can be sought to at least this often, and starts there without what went before.
SEEK_S = 2
# Rounded to nearest and every second pixel's colour counted: without these two, blue and red come
# out 0.15 levels low, and neighbours of a thin line lose its colour.
_CAREFUL = int(Interpolation.BICUBIC | Interpolation.ACCURATE_RND | Interpolation.FULL_CHR_H_INP)


@dataclass(frozen=True)
class Recipe:
    """How a kind of film file is encoded.

    Attributes
    ----------
    name : str
    codec : str
        The encoder, by the name that libavcodec knows it by.
    pixel_format : str
    ending : {"mp4", "mov"}
    options : tuple of (str, str)
        The encoder's own.
    tag : str or None
        Four letters that players know the codec by, where the usual ones are not the right ones.
    bits_per_pixel : float or None
        For encoders that are told a bit rate instead of a quality.
    at_once : int or None
        How many may be at work at the same time, where each takes much memory.
    """

    name: str
    codec: str
    pixel_format: str
    ending: str
    options: tuple[tuple[str, str], ...]
    tag: str | None = None
    bits_per_pixel: float | None = None
    at_once: int | None = None

    @property
    def mark(self) -> str:
        """What changes when the same pictures would give another file."""
        libraries = sorted(av.library_versions.items())
        return hashlib.sha256(repr((self, SEEK_S, av.__version__, libraries)).encode()).hexdigest()


# Two threads an encoder, on whatever machine: what comes out depends on how many they are. Half as
# many encoders run as there are workers, since each takes its memory: two of one thread made a
# season's film by a quarter faster, in 660 MB instead of 440. Nor does it depend on the processor:
# its fastest way to follow what later pictures need reads memory that nobody wrote, so that two
# encoders at once gave other files from run to run (seen with x264 core 165), and is left out by
# `cpu-independent`. `stitchable` keeps parameter sets free of what is in the pictures. An encoder
# that looks 4 pictures ahead instead of 40 takes 130 MB at 1080p instead of 390; at crf 20 it
# reaches the quality of crf 21 with 40, in 2 % more bytes.
_H264 = "threads=2:sync-lookahead=0:open-gop=0:stitchable=1:cpu-independent=1:rc-lookahead=4"
_H265 = "pools=1:frame-threads=1:open-gop=0:rc-lookahead=8:log-level=none"
ENCODER_THREADS = 2
RECIPES = {
    each.name: each
    for each in (
        Recipe(
            "web",
            "libx264",
            "yuv420p",
            "mp4",
            (("preset", "medium"), ("crf", "20"), ("profile", "high"), ("x264-params", _H264)),
        ),
        Recipe(
            "preview",
            "libx264",
            "yuv420p",
            "mp4",
            (("preset", "veryfast"), ("crf", "24"), ("profile", "high"), ("x264-params", _H264)),
        ),
        Recipe(
            "av1",
            "libsvtav1",
            "yuv420p",
            "mp4",
            (("preset", "8"), ("crf", "43"), ("svtav1-params", "lp=1:lookahead=0")),
            at_once=1,  # one takes 200 MB at 1080p
        ),
        Recipe(
            "hevc",
            "libx265",
            "yuv420p",
            "mp4",
            (("preset", "medium"), ("crf", "26"), ("x265-params", _H265)),
            tag="hvc1",
            at_once=1,
        ),
        Recipe(
            "prores",
            "prores_ks",
            "yuv422p10le",
            "mov",
            (("profile", "hq"), ("vendor", "apl0")),
        ),
        Recipe(
            "h264-10",
            "libx264",
            "yuv422p10le",
            "mp4",
            (("preset", "medium"), ("crf", "8"), ("x264-params", _H264)),
        ),
    )
}


def recipe_named(name: str) -> Recipe:
    """The recipe of that name.

    Raises
    ------
    FilmError
        If there is none; names those that there are.
    """
    if name not in RECIPES:
        raise FilmError(f'no kind of film file "{name}"; there are {", ".join(RECIPES)}')
    return RECIPES[name]


def encode(
    target: Path,
    pictures: Iterable[np.ndarray],
    recipe: Recipe,
    frames_per_second: int,
    look: Callable[[np.ndarray], None] | None = None,
) -> int:
    """Encode pictures as one film file, its index in front, its colours tagged as they are.

    Colours are converted to BT.709, limited range, and the file says so. sRGB values are kept as
    they are: BT.709's own transfer function is that of cameras, and players show what carries its
    tag as they show sRGB. Written under a temporary name beside `target` and renamed when it is
    complete and on the disk.

    Parameters
    ----------
    target : pathlib.Path
        The file; its folder exists.
    pictures : iterable of ndarray of uint8, shape (height, width, 3)
        RGB, all of one size, even in both directions.
    recipe : Recipe
    frames_per_second : int
        Above zero.
    look : callable, optional
        Shown every picture on its way.

    Returns
    -------
    int
        Number of pictures.

    Raises
    ------
    FilmError
        If there is no picture, if they are not all of one even size, or if the file could not be
        written; `target` stays as it was.

    References
    ----------
    .. [1] Recommendation ITU-R BT.709-6: Parameter values for the HDTV standards for production
       and international programme exchange (2015).
    """
    with written_whole(target) as part:
        with _Film(part, recipe, frames_per_second) as film:
            for picture in pictures:
                film.add(picture)
                if look is not None:
                    look(picture)
        if not film.count:
            raise FilmError(f"{target}: there is no picture to make a film of")
    return film.count


@contextmanager
def written_whole(target: Path) -> Iterator[Path]:
    """Give a name to write a film to; afterwards it is put on the disk and takes `target`'s.

    Raises
    ------
    FilmError
        If the file could not be written; `target` stays as it was.
    """
    part = part_of(target)
    try:
        yield part
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(target)
    except (OSError, av.FFmpegError) as error:
        raise FilmError(
            f"{target}: the film was not written ({error}); see that the disk has room and may be "
            "written to, then film again"
        ) from error
    finally:
        part.unlink(missing_ok=True)


def local(path: Path) -> str:
    """A path as libavformat takes it, which reads ``bench:2031.mp4`` as an address otherwise."""
    return f"file:{path}"


def _take_no_precedence() -> None:
    """Take back the precedence that an encoder gave itself over everything else on the machine.

    SVT-AV1, run by root, puts its threads and the one that called it into the real-time class: they
    and whatever they start then leave the processor to nobody, captures included (seen with 4.1).
    """
    if not hasattr(os, "sched_setscheduler"):
        return
    for thread in (int(each.name) for each in Path("/proc/self/task").iterdir()):
        with suppress(OSError):  # it has ended meanwhile
            if os.sched_getscheduler(thread) == os.SCHED_FIFO:
                os.sched_setscheduler(thread, os.SCHED_OTHER, os.sched_param(0))


class _Film:
    """A file that is being encoded; opened by its first picture, which says its size."""

    def __init__(self, path: Path, recipe: Recipe, frames_per_second: int):
        self._path, self._recipe, self._speed = path, recipe, frames_per_second
        self._film = self._stream = None
        self._to_video = VideoReformatter()
        self.count = 0

    def add(self, picture: np.ndarray) -> None:
        height, width = picture.shape[:2]
        if self._stream is None:
            self._open(width, height)
        if (width, height) != (self._stream.width, self._stream.height):
            raise FilmError(
                f"{self._path.parent}: picture {self.count + 1} of a film is {width} x {height} "
                f"px, the first {self._stream.width} x {self._stream.height}"
            )
        frame = self._converted(picture)
        frame.pts, frame.time_base = self.count, Fraction(1, self._speed)
        self._film.mux(self._stream.encode(frame))
        self.count += 1

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if self._film is None:
            return
        try:
            if kind is None:
                self._film.mux(self._stream.encode(None))
        finally:
            self._film.close()

    def _open(self, width: int, height: int) -> None:
        if width % 2 or height % 2:
            raise FilmError(
                f"{self._path.parent}: a film of {width} x {height} px cannot be made; both must "
                "be even"
            )
        recipe = self._recipe
        if recipe.codec == "libsvtav1":
            os.environ.setdefault("SVT_LOG", "1")  # it writes to stderr by itself, else
        self._film = av.open(local(self._path), "w", options={"movflags": "faststart"})
        try:
            stream = self._film.add_stream(recipe.codec, self._speed, dict(recipe.options))
        except ValueError as error:  # what PyAV raises for an encoder that it was built without
            raise FilmError(
                f"no encoder {recipe.codec} for .{recipe.ending} files in the PyAV that is "
                f"installed ({error}); install PyAV by pip, or film another kind of file"
            ) from error
        stream.width, stream.height, stream.pix_fmt = width, height, recipe.pixel_format
        context = stream.codec_context
        context.thread_count, context.gop_size = 1, SEEK_S * self._speed
        context.colorspace, context.color_range = Colorspace.ITU709, ColorRange.MPEG
        context.color_primaries, context.color_trc = ColorPrimaries.BT709, ColorTrc.BT709
        if recipe.tag:
            context.codec_tag = recipe.tag
        if recipe.bits_per_pixel:
            context.bit_rate = round(recipe.bits_per_pixel * width * height * self._speed)
        context.open()
        _take_no_precedence()
        self._stream = stream

    def _converted(self, picture: np.ndarray) -> av.VideoFrame:
        frame = self._to_video.reformat(
            av.VideoFrame.from_numpy_buffer(np.ascontiguousarray(picture)),
            format=self._recipe.pixel_format,
            dst_colorspace=Colorspace.ITU709,
            src_color_range=ColorRange.JPEG,
            dst_color_range=ColorRange.MPEG,
            interpolation=_CAREFUL,
            threads=1,
        )
        frame.color_primaries, frame.color_trc = ColorPrimaries.BT709, ColorTrc.BT709
        return frame
