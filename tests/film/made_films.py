"""Pictures that say which one they are, films of them, and what independent programs read there."""

import json
import shutil
import subprocess

import cv2
import numpy as np
import pytest

from lapsekit.film.encoding import RECIPES
from lapsekit.film.segments import Job, make_segments

PER_SECOND = 24
WIDTH, HEIGHT = 192, 128
SHOW = ("-show_streams", "-show_chapters", "-show_format")
_BITS, _BLOCK = 12, 16
_GROUND = cv2.GaussianBlur(
    np.random.default_rng(8).integers(0, 256, (HEIGHT, WIDTH + 256, 3), np.uint8), (0, 0), 5
)


def numbered(number):
    """A moving ground, and below it the picture's number in white and black squares."""
    picture = _GROUND[:, number % 256 : number % 256 + WIDTH].copy()
    for bit in range(_BITS):
        value = 235 if number >> bit & 1 else 20
        picture[-_BLOCK:, bit * _BLOCK : (bit + 1) * _BLOCK] = value
    return picture


def number_of(picture, bits=_BITS):
    """The number that a picture shows, however it was encoded."""
    half = _BLOCK // 2
    squares = picture[-half, half::_BLOCK][:bits]
    return sum(1 << bit for bit, square in enumerate(squares) if np.mean(square) > 128)


def job(first, count, key=None):
    """A segment of numbered pictures."""
    return Job(key or f"{first}+{count}", count, lambda: map(numbered, range(first, first + count)))


def jobs_of(counts):
    """Segments of so many pictures each, numbered on."""
    firsts = np.cumsum([0, *counts[:-1]])
    return [job(int(first), count) for first, count in zip(firsts, counts, strict=True)]


def segments_of(folder, counts, recipe="web", **options):
    """The same, encoded."""
    return make_segments(folder, jobs_of(counts), RECIPES[recipe], PER_SECOND, **options)


def need(*programs):
    """Skip where one of them is missing; tests/run installs them."""
    for program in programs:
        if shutil.which(program) is None:
            pytest.skip(f"no {program} on this machine; tests/run installs it")


def probed(path):
    """All that ffprobe says of a file, which it must read without complaint."""
    need("ffprobe")
    done = subprocess.run(
        [*["ffprobe", "-v", "error", "-count_frames", "-of", "json"], *SHOW, str(path)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    return json.loads(done.stdout)


def times(path):
    """Decoding and showing times of the pictures in a file's own order, in seconds."""
    need("ffprobe")
    command = f"ffprobe -v error -select_streams v -show_packets -of json {path}"
    done = subprocess.run(command.split(), capture_output=True, text=True, check=True)
    packets = json.loads(done.stdout)["packets"]
    return [(float(p["dts_time"]), float(p["pts_time"])) for p in packets]


def shown(path, width=WIDTH, height=HEIGHT, converted=""):
    """Pictures as ffmpeg decodes them, in RGB by what the file says of its colours."""
    need("ffmpeg")
    wanted = f"scale=flags=bicubic+accurate_rnd+full_chroma_int{converted},format=rgb24"
    command = ["ffmpeg", "-v", "error", "-i", str(path), "-map", "0:v", "-vf", wanted]
    done = subprocess.run([*command, "-f", "rawvideo", "-"], capture_output=True, check=True)
    assert done.stderr == b""
    return np.frombuffer(done.stdout, np.uint8).reshape(-1, height, width, 3)


def chart():
    """A chart of colours in patches of 32 px, and the colours, both RGB uint8."""
    steps = (0, 90, 180, 255)
    colours = np.array([(r, g, b) for r in steps for g in steps for b in steps], np.uint8)
    patches = colours.reshape(8, 8, 3)
    return np.repeat(np.repeat(patches, 32, axis=0), 32, axis=1), patches


def of_patches(picture):
    """The colour amid each patch of a picture of the chart, their mean over 8 x 8 px."""
    height, width = picture.shape[:2]
    cells = picture.reshape(height // 32, 32, width // 32, 32, 3)
    return cells[:, 12:20, :, 12:20].astype(float).mean(axis=(1, 3))
