"""Only whole pictures pass; their size is that of the upright picture, their time is theirs."""

import struct
import zlib
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest
from PIL import Image

from lapsekit.errors import PictureError
from lapsekit.frames.inspection import inspect
from lapsekit.vision.pictures import decode
from tests.scenes import bench_picture, encoded

PICTURE = bench_picture([(80, 60, 20)], size=(160, 120))
FORMS = ["JPEG", "PNG", "WEBP"]


def exif(orientation=1, taken=None, offset=None, digitized=None):
    data = Image.Exif()
    data[0x0112] = orientation
    inner = data.get_ifd(0x8769)
    for tag, value in ((0x9003, taken), (0x9011, offset), (0x9004, digitized)):
        if value:
            inner[tag] = value
    return data


def png_header(width, height):
    """A PNG that claims a size and holds next to nothing."""

    def chunk(kind, body):
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("form", FORMS)
def test_a_whole_picture_passes_with_its_size(form):
    facts = inspect(encoded(PICTURE, form))
    assert (facts.width, facts.height, facts.taken) == (160, 120, None)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("kept", [0.3, 0.7, 0.98])
def test_a_truncated_picture_is_refused(form, kept):
    data = encoded(PICTURE, form)
    with pytest.raises(PictureError):
        inspect(data[: int(len(data) * kept)])


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"Dear diary, today it rained.\n" * 50, "not a JPEG"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 200, "truncated or damaged|not a JPEG"),
        (png_header(40_000, 40_000), "megapixels"),
        (png_header(20_000, 8_000), "megapixels"),
        (b"GIF89a" + b"\0" * 100, "not a JPEG"),
    ],
)
def test_what_is_no_usable_picture_is_refused_with_a_reason(data, said):
    with pytest.raises(PictureError, match=said):
        inspect(data)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_picture_is_decoded_upright(form, orientation):
    """The bright corner of the scene ends up where the camera saw it, whatever the format."""
    upright = np.full((120, 160, 3), 60, np.uint8)
    upright[:30, :40] = 220
    turned = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.transpose(1, 0, 2),
        6: np.rot90(upright, 1),
        7: upright[::-1, ::-1].transpose(1, 0, 2),
        8: np.rot90(upright, -1),
    }[orientation]
    data = encoded(np.ascontiguousarray(turned), form, exif=exif(orientation))
    facts = inspect(data)
    assert (facts.width, facts.height) == (160, 120)
    seen = decode(data).astype(int)
    assert seen.shape == upright.shape
    assert np.abs(seen - upright).mean() < 3


def test_a_phone_file_that_holds_several_pictures_is_its_first():
    import io

    out = io.BytesIO()
    first = Image.fromarray(PICTURE)
    first.save(out, "MPO", save_all=True, append_images=[first.rotate(180)])
    facts = inspect(out.getvalue())
    assert (facts.suffix, facts.width, facts.height) == (".jpg", 160, 120)
    assert np.abs(decode(out.getvalue()).astype(int) - PICTURE).mean() < 7


def test_the_exposure_time_is_read_with_its_offset():
    data = encoded(PICTURE, "JPEG", exif=exif(taken="2031:04:01 10:20:30", offset="+02:00"))
    expected = datetime(2031, 4, 1, 10, 20, 30, tzinfo=timezone(timedelta(hours=2)))
    assert inspect(data).taken == expected


def test_a_time_without_an_offset_stays_without():
    data = encoded(PICTURE, "JPEG", exif=exif(taken="2031:04:01 10:20:30"))
    assert inspect(data).taken == datetime(2031, 4, 1, 10, 20, 30)


@pytest.mark.parametrize("wrong", ["0000:00:00 00:00:00", "yesterday", "2031:04:01"])
def test_a_time_that_is_none_is_passed_over(wrong):
    data = encoded(PICTURE, "JPEG", exif=exif(taken=wrong, digitized="2031:04:01 10:20:30"))
    assert inspect(data).taken == datetime(2031, 4, 1, 10, 20, 30)
