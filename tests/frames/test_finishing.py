"""A captured picture is filed with its time, without position or thumbnail, its pixels as is."""

import io
import json
import struct
import subprocess
import zlib
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps, PngImagePlugin

from lapsekit.errors import CameraError
from lapsekit.frames import finishing
from lapsekit.frames.blacking import black_out
from lapsekit.frames.finishing import finished
from lapsekit.frames.inspection import inspect
from lapsekit.frames.metadata import is_whole_jpeg
from tests.scenes import bench_picture, encoded

FORMS = ["JPEG", "PNG", "WEBP"]
TAKEN_AT = datetime(2031, 7, 1, 10, 30, 5, tzinfo=UTC)
ZONE = ZoneInfo("CET")
SECRET = b"SERIAL-4711"
PICTURE = bench_picture([(80, 60, 30), (200, 150, 40)])
PROFILE = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
CORNERS = [[40.5, 30.2], [140, 36], [128, 110], [50, 90]]


def talkative(form, orientation=1, **options):
    """A picture that tells where it was taken and by whom, wherever its format has room."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = SECRET.decode()
    exif.get_ifd(0x8769)[0x927C] = b"maker " + SECRET
    exif.get_ifd(0x8769)[0xA431] = SECRET.decode()
    exif.get_ifd(0x8825).update({1: "N", 2: (12.0, 30.0, 0.0), 3: "E", 4: (5.0, 1.0, 2.0)})
    if form == "JPEG":
        options |= {"comment": SECRET, "quality": 92}
    if form == "PNG":
        told = PngImagePlugin.PngInfo()
        told.add_text("Comment", SECRET.decode())
        told.add_itxt("XML:com.adobe.xmp", SECRET.decode())
        options |= {"pnginfo": told}
    else:
        options |= {"xmp": b"<x>" + SECRET + b"</x>"}
    data = encoded(PICTURE, form, exif=exif, icc_profile=PROFILE, **options)
    return with_more_segments(data) if form == "JPEG" else data


def with_more_segments(data):
    """IPTC, a thumbnail beside JFIF, unknown segments, and a second picture behind the first."""
    thumbnail = encoded(PICTURE[::4, ::4], "JPEG")
    parts = [(0xE0, b"JFXX\0\x10" + thumbnail), (0xED, b"Photoshop 3.0\0" + SECRET)]
    parts += [(0xE2, b"FPXR\0" + SECRET), (0xEB, SECRET)]
    extra = b"".join(struct.pack(">BBH", 0xFF, mark, len(p) + 2) + p for mark, p in parts)
    return data[:2] + extra + data[2:] + thumbnail + SECRET


def finish(data, **options):
    given = {"taken_at": TAKEN_AT, "zone": ZONE, "camera": "bench"}
    if "privacy" in options and "privacy_size_px" not in options:
        given["privacy_size_px"] = upright(data).shape[1::-1]
    return finished(data, **(given | options))


def pixels(data):
    return np.array(Image.open(io.BytesIO(data)))


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("orientation", [1, 6, 8])
def test_time_with_offset_and_camera_are_written_and_pixels_stay_bit_by_bit(form, orientation):
    before = talkative(form, orientation)
    after = finish(before)
    assert np.array_equal(pixels(after), pixels(before))
    picture = Image.open(io.BytesIO(after))
    exif = picture.getexif()
    inner = exif.get_ifd(0x8769)
    assert (inner[0x9003], inner[0x9011]) == ("2031:07:01 12:30:05", "+02:00")
    assert (exif[0x010E], exif[0x0131], exif[0x0112]) == ("bench", "lapsekit", orientation)
    assert picture.info["icc_profile"] == PROFILE
    facts = inspect(after)
    assert facts.taken.astimezone(UTC) == TAKEN_AT
    assert (facts.width, facts.height) == ((320, 240) if orientation == 1 else (240, 320))


@pytest.mark.parametrize("form", FORMS)
def test_position_serial_numbers_comments_and_thumbnails_are_nowhere_in_the_file(form):
    before = talkative(form)
    assert SECRET in before or form == "PNG"
    after = finish(before)
    assert SECRET not in after
    assert Image.open(io.BytesIO(after)).getexif().get_ifd(0x8825) == {}
    assert b"http" not in after
    assert after.count(b"\xff\xd8\xff") == (form == "JPEG")
    assert len(after) < len(before)


def test_the_kept_tags_are_these_and_no_others():
    exif = Image.open(io.BytesIO(finish(talkative("JPEG")))).getexif()
    assert set(exif) == {0x010E, 0x0112, 0x0131, 0x0132, 0x8769}
    inner = {0x9000, 0x9003, 0x9004, 0x9010, 0x9011, 0x9012}
    assert set(exif.get_ifd(0x8769)) == inner


def test_another_program_reads_the_time_back(tmp_path):
    path = tmp_path / "x.jpg"
    path.write_bytes(finish(talkative("JPEG")))
    command = ["ffprobe", "-v", "error", "-show_frames", "-of", "json", str(path)]
    try:
        done = subprocess.run(command, capture_output=True, check=True)
    except FileNotFoundError:
        pytest.skip("no ffprobe on this machine; tests/run installs it")
    (frame,) = json.loads(done.stdout)["frames"]
    assert frame["tags"]["DateTimeOriginal"] == "2031:07:01 12:30:05"
    assert "GPSLatitude" not in frame["tags"]


def test_of_several_pictures_in_one_file_only_the_first_is_kept():
    out = io.BytesIO()
    first, second = Image.fromarray(PICTURE), Image.fromarray(255 - PICTURE)
    first.save(out, "MPO", save_all=True, append_images=[second])
    before = out.getvalue()
    assert Image.open(io.BytesIO(before)).n_frames == 2
    for options in ({}, {"privacy": [CORNERS]}):
        after = finish(before, **options)
        assert Image.open(io.BytesIO(after)).format == "JPEG"
        assert after.count(b"\xff\xd8\xff") == 1
        assert len(after) < 0.7 * len(before)


@pytest.mark.parametrize("form", FORMS)
def test_what_is_finished_stays_when_finished_again(form):
    once = finish(talkative(form, 3))
    assert finish(once) == once


def test_a_frame_that_is_played_again_stays_byte_for_byte():
    before = talkative("JPEG")
    assert finish(before, as_it_is=True) == before
    assert finish(before, as_it_is=True, privacy=[CORNERS]) != before


@pytest.mark.parametrize(
    "picture",
    [
        Image.fromarray(PICTURE[:, :, 0]),
        Image.fromarray(PICTURE).convert("CMYK"),
        Image.fromarray(PICTURE).convert("P"),
        Image.fromarray(PICTURE).convert("RGBA"),
        Image.fromarray(PICTURE[:, :, 0].astype(np.uint16) * 257),
    ],
    ids=["grey", "cmyk", "palette", "alpha", "sixteen bits"],
)
def test_other_kinds_of_pixels_stay_too_and_can_be_blacked_out(picture):
    form = {"CMYK": "JPEG", "L": "JPEG"}.get(picture.mode, "PNG")
    out = io.BytesIO()
    picture.save(out, form)
    assert np.array_equal(pixels(finish(out.getvalue())), pixels(out.getvalue()))
    black = Image.open(io.BytesIO(finish(out.getvalue(), privacy=[CORNERS]))).convert("RGB")
    assert np.array(black)[60:80, 70:110].max() < 8
    assert np.array(black)[200:].mean() > 8


@pytest.mark.parametrize("lossless", [False, True])
@pytest.mark.parametrize("alpha", [False, True])
def test_a_webp_without_the_long_header_gets_one(lossless, alpha):
    picture = np.dstack([PICTURE, np.full(PICTURE.shape[:2], 128, np.uint8)]) if alpha else PICTURE
    before = encoded(picture, "WEBP", lossless=lossless)
    after = finish(before)
    assert np.array_equal(pixels(after), pixels(before))
    assert Image.open(io.BytesIO(after)).getexif()[0x010E] == "bench"


def test_stray_bytes_between_segments_do_no_harm():
    data = encoded(PICTURE, "JPEG")
    at = data.index(b"\xff\xdb")
    stray = data[:at] + b"\0\0stray" + data[at:]
    assert np.array_equal(pixels(finish(stray)), pixels(data))
    assert b"stray" not in finish(stray)


# privacy areas --------------------------------------------------------------------------------


def mask_of(corners, shape, grown=0):
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(np.array(corners)).astype(np.int32)], 255)
    if grown:
        mask = cv2.dilate(mask, np.ones((2 * grown + 1,) * 2, np.uint8))
    return mask > 0


def upright(data):
    return np.array(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"))


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", FORMS)
def test_areas_of_the_upright_picture_are_black_and_the_rest_is_as_it_was(form, orientation):
    before = talkative(form, orientation)
    after = finish(before, privacy=[CORNERS, [[150, 150], [190, 150], [170, 190]]])
    old, new = upright(before), upright(after)
    inside = mask_of(CORNERS, new.shape) | mask_of([[150, 150], [190, 150], [170, 190]], new.shape)
    assert inside.sum() > 5000
    assert new[inside].mean() < 3
    assert new[inside].max() <= (0 if form == "PNG" else 48)
    outside = ~cv2.dilate(inside.astype(np.uint8), np.ones((37, 37), np.uint8)).astype(bool)
    apart = np.abs(new.astype(int) - old)[outside]
    most = {"PNG": (0, 0), "JPEG": (0.6, 12), "WEBP": (2.5, 40)}[form]
    assert np.sqrt((apart**2).mean()) <= most[0]
    assert apart.max() <= most[1]
    assert SECRET not in after
    assert Image.open(io.BytesIO(after)).info["icc_profile"] == PROFILE


@pytest.mark.parametrize("sampling", [0, 1, 2])
@pytest.mark.parametrize("quality", [60, 85, 95])
def test_a_jpeg_suffers_little_whatever_it_was_encoded_with(quality, sampling):
    before = encoded(PICTURE, "JPEG", quality=quality, subsampling=sampling)
    after = black_out(before, [CORNERS])
    old, new = pixels(before), pixels(after)
    outside = ~mask_of(CORNERS, new.shape, 18)
    assert np.abs(new.astype(int) - old)[outside].mean() < 0.3
    assert new[mask_of(CORNERS, new.shape)].mean() < 3
    assert len(after) < 1.1 * len(before)


@pytest.mark.parametrize(
    ("corners", "shut"),
    [
        ([[-50, -80], [60, -80], [60, 400], [-50, 400]], np.s_[:, :60]),
        ([[-1e6, -1e6], [1e6, -1e6], [1e6, 1e6], [-1e6, 1e6]], np.s_[:, :]),
        ([[300, 200], [5000, 200], [5000, 900], [300, 900]], np.s_[201:, 301:]),
    ],
)
def test_an_area_partly_outside_is_cut_off_at_the_border(corners, shut):
    new = pixels(finish(encoded(PICTURE), privacy=[corners]))
    assert new[shut].max() == 0
    assert (new == 0).all(2).sum() < new[shut].shape[0] * new[shut].shape[1] + 1200


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("form", FORMS)
def test_a_picture_of_another_size_than_areas_were_drawn_for_is_refused(form, orientation):
    data = talkative(form, orientation)
    size = (320, 240) if orientation in (1, 3) else (240, 320)
    assert finish(data, privacy=[CORNERS], privacy_size_px=size)
    for other in (size[::-1], (640, 480), (320, 241), None):
        with pytest.raises(CameraError, match=rf"{size[0]} × {size[1]} px, .*was not written"):
            finish(data, privacy=[CORNERS], privacy_size_px=other)


def test_a_picture_that_needs_too_much_memory_is_refused(monkeypatch):
    row = b"\0" * (1 + 3 * 12_000)
    squeezed = zlib.compressobj()
    body = b"".join(squeezed.compress(row) for _ in range(12_000)) + squeezed.flush()

    def chunk(kind, part):
        head = struct.pack(">I", len(part)) + kind + part
        return head + struct.pack(">I", zlib.crc32(kind + part))

    header = struct.pack(">IIBBBBB", 12_000, 12_000, 8, 2, 0, 0, 0)
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", None)  # a large one is told of by a warning
    large = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body)
    with pytest.raises(CameraError, match=r"more than 320 MB.*was not written.*privacy"):
        finish(large + chunk(b"IEND", b""), privacy=[CORNERS], privacy_size_px=(12_000, 12_000))


def test_a_process_that_fails_or_takes_too_long_leaves_no_picture(monkeypatch):
    data = encoded(PICTURE, "JPEG")
    with pytest.raises(CameraError, match="not written"):
        finish(data[: len(data) // 2], privacy=[CORNERS], privacy_size_px=(320, 240))
    monkeypatch.setattr(finishing, "TIME_LIMIT_S", 0.01)
    with pytest.raises(CameraError, match=r"longer than 0\.01 s"):
        finish(data, privacy=[CORNERS])
    monkeypatch.setattr(finishing.sys, "executable", "/bin/true")
    monkeypatch.setattr(finishing, "TIME_LIMIT_S", 9)
    with pytest.raises(CameraError, match=r"empty \(0 bytes\)"):
        finish(data, privacy=[CORNERS])


# truncation -----------------------------------------------------------------------------------


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"restart_marker_blocks": 3}])
def test_a_jpeg_is_whole_only_with_every_byte_of_it(options):
    """Wherever it breaks off, in a header, a scan or between scans; trailing bytes do no harm."""
    data = encoded(PICTURE, "JPEG", **options)
    assert is_whole_jpeg(data)
    assert is_whole_jpeg(data + b"\0\0padding")
    assert not any(is_whole_jpeg(data[:size]) for size in range(len(data)))


def test_the_end_of_a_thumbnail_does_not_count_as_the_end_of_the_picture():
    data = talkative("JPEG")
    exif = Image.Exif()
    thumbnail = encoded(PICTURE[::4, ::4], "JPEG")
    data = encoded(PICTURE, "JPEG", exif=exif.tobytes() + thumbnail)
    assert thumbnail in data
    assert not is_whole_jpeg(data[: len(data) - 500])
