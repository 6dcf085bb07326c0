"""How finely a file keeps colours is read from what encoders wrote."""

import cv2
import numpy as np
import pytest

from lapsekit.detail import detail_of, told_by
from lapsekit.measuring import measure
from lapsekit.resources import shipped_model_text
from lapsekit.ruler import Ruler
from lapsekit.sample import sample_frames_folder
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.detail import COARSE_BEFORE, MOST_COARSE, WHOLE, Detail
from lapsekit.vision.network import Network
from lapsekit.vision.pictures import decode
from tests.site.small_season import FIRST, add_day, found

PICTURE = np.random.default_rng(1).integers(0, 255, (48, 64, 3), np.uint8)
FRAME = sample_frames_folder(None) / "frames" / "bench" / "2026-04-18" / "20260418T063000Z.jpg"
SAMPLING = {
    0.0: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
    0.5: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_422,
    1.0: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420,
}


def finest(quality=95):
    """What has a JPEG keep a colour for every pixel."""
    return cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, SAMPLING[0.0]


FINEST = finest()


def encoded(suffix, *options, picture=PICTURE):
    return cv2.imencode(suffix, picture, options)[1].tobytes()


@pytest.mark.parametrize("halved", SAMPLING)
@pytest.mark.parametrize("quality", [70, 80, 90, 95])
def test_sampling_and_quality_are_those_that_the_file_was_written_with(halved, quality):
    how = (cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, SAMPLING[halved])
    found = told_by(encoded(".jpg", *how))
    assert found.halved == halved
    # What the common encoders call quality is a share of the standard's table
    assert found.coarseness == pytest.approx((100 - quality) / 50, abs=0.01)


def test_a_progressive_file_tells_the_same():
    plain, progressive = (encoded(".jpg", cv2.IMWRITE_JPEG_PROGRESSIVE, k) for k in (0, 1))
    assert plain != progressive
    assert told_by(plain) == told_by(progressive) != WHOLE


def test_very_coarse_colours_are_told_as_the_coarsest_that_the_network_knows():
    assert told_by(encoded(".jpg", cv2.IMWRITE_JPEG_QUALITY, 20)).coarseness == MOST_COARSE


def with_samples(data, *samples):
    """A JPEG whose frame says other samples across and down: its pixels mean nothing then."""
    at = next(k for k in range(len(data)) if data[k : k + 2] == b"\xff\xc0") + 11
    changed = bytearray(data)
    changed[at : at + 9 : 3] = samples
    return bytes(changed)


@pytest.mark.parametrize(
    ("samples", "halved"),
    [
        ((0x11, 0x11, 0x11), 0),
        ((0x22, 0x22, 0x22), 0),
        ((0x12, 0x11, 0x11), 0.5),
        ((0x22, 0x12, 0x12), 0.5),
        ((0x41, 0x11, 0x11), 0.5),
        ((0x22, 0x11, 0x11), 1),
    ],
)
def test_other_ways_to_write_the_same_sampling_are_understood(samples, halved):
    assert told_by(with_samples(encoded(".jpg"), *samples)).halved == halved


def test_a_table_that_no_colour_uses_counts_for_nothing():
    data = encoded(".jpg")
    unused = b"\xff\xdb\x00\x43\x03" + b"\x01" * 64
    assert told_by(data[:2] + unused + data[2:]) == told_by(data)


def test_lossy_webp_keeps_colours_at_half_resolution():
    assert told_by(encoded(".webp", cv2.IMWRITE_WEBP_QUALITY, 80)).halved == 1
    assert told_by(encoded(".webp", cv2.IMWRITE_WEBP_QUALITY, 101)) == WHOLE


def test_files_without_loss_in_grey_or_damaged_are_taken_as_whole():
    jpeg, huge = encoded(".jpg"), bytearray(encoded(".jpg"))
    at = huge.index(b"\xff\xc0") + 5
    huge[at : at + 4] = b"\xff\x00\xff\x00"
    grey = encoded(".jpg", picture=PICTURE[..., 0])
    for data in (encoded(".png"), grey, jpeg[:20], jpeg[:80], b"", b"\xff\xd8\xff\xdb\x00\x01"):
        assert told_by(data) == WHOLE
    assert told_by(bytes(huge)) == WHOLE


def test_a_picture_that_was_made_smaller_has_a_colour_for_every_pixel():
    data = encoded(".jpg")
    assert detail_of(data, PICTURE[::2, ::2], by=2) == WHOLE
    assert detail_of(data, PICTURE) == told_by(data) != WHOLE


@pytest.fixture(scope="module")
def photographed():
    """A frame of the sample season, which has its colours at half the resolution."""
    return cv2.imread(str(FRAME))


@pytest.mark.parametrize(
    "saved_again",
    [
        lambda picture: encoded(".png", picture=picture),
        lambda picture: encoded(".jpg", *FINEST, picture=picture),
        lambda picture: encoded(".jpg", *FINEST, picture=cv2.rotate(picture, cv2.ROTATE_180)),
        lambda picture: encoded(".jpg", *FINEST, picture=cv2.resize(picture, (1120, 840))),
        lambda picture: encoded(".png", picture=picture[:, :, ::-1]),
    ],
    ids=["png", "finest jpeg", "turned", "enlarged", "other colours"],
)
def test_a_picture_that_was_saved_before_shows_that_its_colours_are_coarse(
    photographed, saved_again
):
    data = saved_again(photographed)
    assert told_by(data).halved == 0
    seen = detail_of(data, decode(data))
    assert seen.halved > 0.4
    assert seen.coarseness == pytest.approx(seen.halved * COARSE_BEFORE)


@pytest.mark.parametrize("quality", [85, 90, 95])
def test_a_picture_with_a_colour_for_every_pixel_is_taken_at_its_word(quality):
    grain = np.random.default_rng(quality).normal(0, 60, (120, 160, 3))
    sharp = np.uint8(np.clip(128 + cv2.GaussianBlur(grain, (0, 0), 0.8), 0, 255))
    for data in (encoded(".png", picture=sharp), encoded(".jpg", *finest(quality), picture=sharp)):
        assert detail_of(data, decode(data)) == told_by(data)


@pytest.mark.parametrize("level", [0, 3, 128, 255])
def test_a_picture_without_colour_or_without_anything_is_taken_at_its_word(level):
    flat = np.full((50, 60, 3), level, np.uint8)
    grain = np.clip(flat + np.random.default_rng(level).normal(0, 9, (50, 60, 1)), 0, 255)
    for picture in (flat, np.uint8(grain), flat[:3, :3], flat[:1]):
        assert WHOLE.as_seen_in(picture) == WHOLE


def test_seedlings_in_a_picture_saved_again_have_nearly_the_area_of_before(photographed):
    model, data = CanopyModel.from_json(shipped_model_text()), encoded(".png", picture=photographed)
    picture = decode(data)[540:, 460:]
    before = model.cover(picture, detail=told_by(FRAME.read_bytes())).sum()
    again = model.cover(picture, detail=detail_of(data, decode(data))).sum()
    assert again == pytest.approx(before, rel=0.08)
    assert model.cover(picture, detail=told_by(data)).sum() > 1.2 * before  # taken at its word


def test_numbers_out_of_range_are_refused():
    with pytest.raises(ValueError, match=r"1\.5"):
        Detail(halved=1.5)
    with pytest.raises(ValueError, match=r"0\.9"):
        Detail(coarseness=0.9)


def test_measuring_and_teaching_tell_the_network_of_each_frames_file(tmp_path, monkeypatch):
    told, odds = [], Network.odds

    def listening(self, picture, detail=WHOLE):
        told.append(detail)
        return odds(self, picture, detail)

    monkeypatch.setattr(Network, "odds", listening)
    season = found(tmp_path / "season")
    add_day(season, FIRST)
    season.index()
    frames = season.catalogue.frames()
    (known,) = {told_by(season.archive.read(frame.path)) for frame in frames}
    assert known.halved == 1
    measure(season, workers=1)
    assert set(told) == {known}
    told.clear()
    Ruler(season).teacher.look_at(frames[0].path)
    assert told == [known]
    season.catalogue.close()
