"""Strangers' bytes become clean pixels, or a refusal; whatever the opening process does."""

import io
import sys
import time

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms

from lapsekit.errors import MissingExtra
from lapsekit.followers import opening, reasons
from lapsekit.followers.making import blurred, jpeg_of
from lapsekit.followers.opener import ASKED, HEAD, MAGIC
from tests.followers.arriving import QUARTERS, encoded, quarters
from tests.hostile import LADEN, require_clean

pillow_heif.register_heif_opener()


def pixels(data, side=1600):
    made = opening.open_picture(data, side)
    return np.frombuffer(made.pixels, np.uint8).reshape(made.height, made.width, 3)


def corners(picture):
    """Colours a quarter in from each corner."""
    height, width = picture.shape[:2]
    spots = ((0.25, 0.25), (0.25, 0.75), (0.75, 0.25), (0.75, 0.75))
    return np.array([picture[int(y * height), int(x * width)] for y, x in spots], int)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_every_kind_that_is_taken_comes_out_as_it_looks(form):
    assert abs(corners(pixels(encoded(quarters(), form))) - np.array(QUARTERS)).max() <= 8


@pytest.mark.parametrize("turn", range(1, 9))
def test_a_picture_stands_upright_whatever_its_exif_orientation(turn):
    undo = {2: 2, 3: 3, 4: 4, 5: 5, 6: 8, 7: 7, 8: 6}
    from lapsekit.followers.opener import _TURNS

    stored = quarters() if turn == 1 else quarters().transpose(_TURNS[undo[turn]])
    told = Image.Exif()
    told[0x0112] = turn
    made = pixels(encoded(stored, exif=told, quality=95))
    assert made.shape[:2] == (240, 320)
    assert abs(corners(made) - np.array(QUARTERS)).max() <= 8


def test_a_large_picture_is_reduced_to_the_wanted_side_and_a_small_one_is_not_enlarged():
    assert pixels(encoded(quarters((3000, 2000))), 900).shape[:2] == (600, 900)
    assert pixels(encoded(quarters((300, 200))), 900).shape[:2] == (200, 300)


def test_what_is_transparent_stands_on_white():
    picture = quarters().convert("RGBA")
    picture.putalpha(Image.new("L", picture.size, 0))
    assert (pixels(encoded(picture, "PNG")) == 255).all()
    palette = quarters().quantize(4)
    clear = np.array(palette) == 0
    made = pixels(encoded(palette, "PNG", transparency=0))
    assert clear.any()
    assert ((made == 255).all(axis=2) == clear).all()


def test_sixteen_bits_keep_their_shade():
    deep = Image.new("I;16", (100, 80), 40_000)
    assert abs(int(pixels(encoded(deep, "PNG"))[40, 50, 0]) - 40_000 / 256) <= 1


@pytest.mark.parametrize("mode", ["L", "1", "P", "CMYK"])
def test_other_kinds_of_colour_come_out_as_they_look(mode):
    form = "JPEG" if mode == "CMYK" else "PNG"
    shown = corners(np.array(quarters().convert(mode).convert("RGB")))
    made = corners(pixels(encoded(quarters().convert(mode), form)))
    assert abs(made - shown).max() <= (8 if mode == "CMYK" else 0)


def swapped_profile():
    """sRGB's profile with the primaries of red and blue exchanged: colours show if it is used."""
    data = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return data.replace(b"rXYZ", b"tXYZ").replace(b"bXYZ", b"rXYZ").replace(b"tXYZ", b"bXYZ")


def test_a_colour_profile_is_worked_into_the_colours():
    picture = Image.new("RGB", (100, 80), (250, 20, 20))
    made = pixels(encoded(picture, "PNG", icc_profile=swapped_profile()))[40, 50]
    assert made[2] > 200 > 60 > made[0]
    assert list(pixels(encoded(picture, "PNG", icc_profile=b"none"))[40, 50]) == [250, 20, 20]


def test_of_a_moving_picture_the_first_is_kept():
    frames = [Image.new("RGB", (100, 80), colour) for colour in ("#ff0000", "#0000ff")]
    for form in ("PNG", "WEBP"):
        data = encoded(frames[0], form, save_all=True, append_images=frames[1:], lossless=True)
        assert pixels(data)[40, 50, 0] > 240


@pytest.mark.parametrize("kind", LADEN)
def test_neither_metadata_nor_bytes_of_the_file_come_out_and_of_its_date_only_the_day(kind):
    given = LADEN[kind](5)
    made = opening.open_picture(given, 1600)
    assert str(made.taken_on) == "2031-04-17"
    require_clean(jpeg_of(made.width, made.height, made.pixels), given)


def test_the_check_for_clean_pictures_would_see_metadata_and_foreign_bytes():
    given = LADEN["jpeg"](5)
    with pytest.raises((AssertionError, ValueError)):
        require_clean(given, b"")
    ours = encoded(quarters(), quality=90, subsampling=0, optimize=True)
    require_clean(ours, given)
    noisy = encoded(Image.fromarray(np.random.default_rng(1).integers(0, 255, (64, 64, 3), "u1")))
    with pytest.raises(AssertionError):
        require_clean(noisy, noisy)


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", reasons.EMPTY),
        (b"GIF89a" + bytes(400), reasons.WRONG_KIND),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", reasons.WRONG_KIND),
        (b"\xff\xd8\xff" + bytes(50), reasons.DAMAGED),
        (encoded(quarters())[:900], reasons.DAMAGED),
        (encoded(quarters((40, 30))), reasons.TOO_SMALL),
        (bytes((64 << 20) + 1), reasons.TOO_HEAVY),
    ],
)
def test_what_is_no_usable_picture_is_refused_with_its_reason(data, reason):
    with pytest.raises(opening.Refused) as refused:
        opening.open_picture(data, 800)
    assert refused.value.code == reason


def answer(code, limit_s=20.0, most=1000):
    return opening.answer_of([sys.executable, "-c", code], b"x" * 500_000, most, limit_s)


@pytest.mark.parametrize(
    ("code", "reason"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", reasons.BROKE),
        ("import os, signal; os.kill(os.getpid(), signal.SIGXCPU)", reasons.TOO_LONG),
        ("raise SystemExit(3)", reasons.BROKE),
        ("import os\nwhile True: os.write(1, bytes(9999))", reasons.BROKE),
    ],
    ids=["crash", "processor time", "code", "flood"],
)
def test_a_process_that_crashes_or_floods_is_a_refusal(code, reason):
    with pytest.raises(opening.Refused) as refused:
        answer(code)
    assert refused.value.code == reason


def test_a_process_that_hangs_is_ended_with_what_it_started():
    began = time.monotonic()
    with pytest.raises(opening.Refused) as refused:
        answer("import subprocess; subprocess.run(['sleep', '600'])", 1.0)
    assert refused.value.code == reasons.TOO_LONG
    assert time.monotonic() - began < 60


@pytest.mark.parametrize(
    "said",
    [
        b"",
        b"garbage" * 9,
        HEAD.pack(MAGIC, reasons.FINE, 100, 100, b"") + bytes(29_999),
        HEAD.pack(MAGIC, reasons.FINE, 100, 100, b"") + bytes(30_001),
        HEAD.pack(MAGIC, reasons.FINE, 0, 100, b""),
        HEAD.pack(MAGIC, reasons.FINE, 900, 1, b"") + bytes(2700),
        HEAD.pack(MAGIC, reasons.NOT_CONFINED, 100, 100, b"") + bytes(30_000),
        HEAD.pack(MAGIC, 200, 100, 100, b"") + bytes(30_000),
    ],
)
def test_an_answer_that_is_not_exactly_a_picture_is_a_refusal(said):
    with pytest.raises(opening.Refused):
        opening._checked(said, 800)


def test_an_answer_holds_no_text_that_could_reach_anybody():
    said = HEAD.pack(MAGIC, reasons.FINE, 100, 100, b"<b>hello") + bytes(30_000)
    assert opening._checked(said, 800).taken_on is None


def test_bubblewrap_opens_pictures_where_there_is_no_filter():
    if not opening._bwrap_works():
        pytest.skip("no bubblewrap that works here")
    data = encoded(quarters(), "WEBP", lossless=True)
    said = opening.answer_of(
        opening._command("bubblewrap"), ASKED.pack(MAGIC, 800, len(data)) + data, 10**7
    )
    made = opening._checked(said, 800)
    assert made.pixels == quarters().tobytes()


def test_where_nothing_confines_no_picture_is_opened(monkeypatch):
    monkeypatch.setattr(opening, "confinement", lambda: "")
    with pytest.raises(MissingExtra, match="bubblewrap"):
        opening.open_picture(encoded(quarters()), 800)


def test_a_blurred_area_keeps_nothing_of_what_was_there():
    fine = np.random.default_rng(3).integers(0, 255, (240, 320, 3), dtype=np.uint8)
    made = np.array(
        Image.open(io.BytesIO(blurred(encoded(Image.fromarray(fine)), [(40, 40, 200, 200)])))
    )
    inside, before = made[60:180, 60:180].astype(float), fine[60:180, 60:180].astype(float)
    steps = abs(np.diff(inside, axis=1)).mean() / abs(np.diff(before, axis=1)).mean()
    assert steps < 0.02
    likeness = np.corrcoef((inside - inside.mean()).ravel(), (before - before.mean()).ravel())[0, 1]
    assert abs(likeness) < 0.15
    assert abs(np.diff(made[:, 240:].astype(float), axis=1)).mean() > 30  # the rest is as it was
