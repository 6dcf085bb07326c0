"""Dark, blown out and blurred frames are told from good ones."""

import cv2
import numpy as np
import pytest
from skimage.measure import blur_effect as reference

from lapsekit.vision.screening import Limits, blur_effect, screen
from tests.scenes import bench_picture

LIMITS = Limits(dark_below=0.1, blown_above=0.35, blurred_above=0.6)
GOOD = bench_picture([(80, 120, 40), (240, 120, 40)])


def test_a_good_frame_passes():
    assert screen(GOOD, LIMITS).reasons == ()


@pytest.mark.parametrize(
    ("spoilt", "reason"),
    [
        ((GOOD * 0.08).astype(np.uint8), "dark"),
        (np.clip(GOOD.astype(int) * 8, 0, 255).astype(np.uint8), "blown out"),
        (cv2.GaussianBlur(GOOD, (0, 0), 6), "blurred"),
        (np.zeros_like(GOOD), "dark"),
        (np.full_like(GOOD, 255), "blown out"),
        (np.full_like(GOOD, 128), "blurred"),
    ],
)
def test_a_spoilt_frame_is_left_out_with_its_reason(spoilt, reason):
    assert screen(spoilt, LIMITS).reasons == (reason,)


def test_more_blur_reads_as_more():
    read = [blur_effect(cv2.GaussianBlur(GOOD[..., 1], (0, 0), s)) for s in (0.5, 1, 2, 4, 8)]
    assert read == sorted(read)
    assert all(0 <= value <= 1 for value in read)


@pytest.mark.parametrize("sigma", [0.6, 1.5, 4.0])
def test_our_blur_effect_agrees_with_the_published_method_in_skimage(sigma):
    luma = cv2.GaussianBlur(GOOD[..., 1], (0, 0), sigma)
    assert blur_effect(luma) == pytest.approx(reference(luma), abs=0.01)
