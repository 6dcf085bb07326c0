"""How finely a file keeps colours is read from what encoders wrote."""

import cv2
import numpy as np
import pytest

from lapsekit.detail import detail_of
from lapsekit.vision.detail import MOST_COARSE, WHOLE, Detail

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


def test_files_without_loss_in_grey_or_damaged_are_taken_as_whole():
    jpeg = encoded(".jpg")
    grey = encoded(".jpg", picture=PICTURE[..., 0])
    for data in (encoded(".png"), grey, jpeg[:20], b"", b"\xff\xd8\xff\xdb\x00\x01"):
        assert detail_of(data) == WHOLE


def test_a_picture_that_was_made_smaller_has_a_colour_for_every_pixel():
    assert detail_of(encoded(".jpg"), by=2) == WHOLE


def test_numbers_out_of_range_are_refused():
    with pytest.raises(ValueError, match=r"1\.5"):
        Detail(halved=1.5)
    with pytest.raises(ValueError, match=r"0\.9"):
        Detail(coarseness=0.9)
