"""How finely a file keeps colours is read from what encoders wrote."""

import cv2
import numpy as np
import pytest

from lapsekit.detail import detail_of
from lapsekit.measuring import measure
from lapsekit.ruler import Ruler
from lapsekit.vision.detail import MOST_COARSE, WHOLE, Detail
from lapsekit.vision.network import Network
from tests.site.small_season import FIRST, add_day, found

PICTURE = np.random.default_rng(1).integers(0, 255, (48, 64, 3), np.uint8)
SAMPLING = {
    0.0: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
    0.5: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_422,
    1.0: cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420,
}


def encoded(suffix, *options, picture=PICTURE):
    return cv2.imencode(suffix, picture, options)[1].tobytes()


@pytest.mark.parametrize("halved", SAMPLING)
@pytest.mark.parametrize("quality", [70, 80, 90, 95])
def test_sampling_and_quality_are_those_that_the_file_was_written_with(halved, quality):
    how = (cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, SAMPLING[halved])
    found = detail_of(encoded(".jpg", *how))
    assert found.halved == halved
    # What the common encoders call quality is a share of the standard's table
    assert found.coarseness == pytest.approx((100 - quality) / 50, abs=0.01)


def test_a_progressive_file_tells_the_same():
    plain, progressive = (encoded(".jpg", cv2.IMWRITE_JPEG_PROGRESSIVE, k) for k in (0, 1))
    assert plain != progressive
    assert detail_of(plain) == detail_of(progressive) != WHOLE


def test_very_coarse_colours_are_told_as_the_coarsest_that_the_network_knows():
    assert detail_of(encoded(".jpg", cv2.IMWRITE_JPEG_QUALITY, 20)).coarseness == MOST_COARSE


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
    assert detail_of(with_samples(encoded(".jpg"), *samples)).halved == halved


def test_a_table_that_no_colour_uses_counts_for_nothing():
    data = encoded(".jpg")
    unused = b"\xff\xdb\x00\x43\x03" + b"\x01" * 64
    assert detail_of(data[:2] + unused + data[2:]) == detail_of(data)


def test_lossy_webp_keeps_colours_at_half_resolution():
    assert detail_of(encoded(".webp", cv2.IMWRITE_WEBP_QUALITY, 80)).halved == 1
    assert detail_of(encoded(".webp", cv2.IMWRITE_WEBP_QUALITY, 101)) == WHOLE


def test_files_without_loss_in_grey_or_damaged_are_taken_as_whole():
    jpeg, huge = encoded(".jpg"), bytearray(encoded(".jpg"))
    at = huge.index(b"\xff\xc0") + 5
    huge[at : at + 4] = b"\xff\x00\xff\x00"
    grey = encoded(".jpg", picture=PICTURE[..., 0])
    for data in (encoded(".png"), grey, jpeg[:20], jpeg[:80], b"", b"\xff\xd8\xff\xdb\x00\x01"):
        assert detail_of(data) == WHOLE
    assert detail_of(bytes(huge)) == WHOLE


def test_a_picture_that_was_made_smaller_has_a_colour_for_every_pixel():
    assert detail_of(encoded(".jpg"), by=2) == WHOLE


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
    (known,) = {detail_of(season.archive.read(frame.path)) for frame in frames}
    assert known.halved == 1
    measure(season, workers=1)
    assert set(told) == {known}
    told.clear()
    Ruler(season).teacher.look_at(frames[0].path)
    assert told == [known]
    season.catalogue.close()
