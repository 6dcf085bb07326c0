"""Flashes of known rate, step, size and colour, against WCAG 2.3.1."""

import numpy as np
import pytest

from lapsekit.vision.flashes import Watch, flash_view, flashes, joined, share_of_a_field
from lapsekit.vision.toning import encoded

FPS = 24
SIZE = (576, 1024)


def grey(light):
    return [light] * 3


def picture(light, box=None, ground=0.2, size=SIZE):
    """Uniform linear light, (3,), in a box (left, top, width, height) or all over."""
    shown = np.empty((*size, 3), np.uint8)
    shown[:] = np.round(encoded(np.array(grey(ground) if box else light)))
    if box:
        left, top, width, height = box
        shown[top : top + height, left : left + width] = np.round(encoded(np.array(light)))
    return shown


def square_wave(rate, one, other, seconds=3, fps=FPS, **how):
    """Views of a film that is `one` and `other` by turns, `rate` times a second."""
    views = [flash_view(picture(light, **how)) for light in (one, other)]
    return [views[int(2 * rate * k / fps) % 2] for k in range(round(seconds * fps))]


@pytest.mark.parametrize("fps", [24, 25, 30, 60])
@pytest.mark.parametrize(("rate", "breaks"), [(1, False), (2, False), (3, False), (4, True)])
def test_more_than_three_flashes_a_second_break_the_rule(rate, breaks, fps):
    found = flashes(square_wave(rate, grey(0.1), grey(0.6), fps=fps), fps)
    assert bool(found) == breaks
    if breaks:
        assert [(f.pairs, f.red, f.share) for f in found] == [(4, False, 1.0)]


@pytest.mark.parametrize(("step", "breaks"), [(0.09, False), (0.11, True)])
def test_a_step_of_a_tenth_of_the_brightest_is_what_counts(step, breaks):
    assert bool(flashes(square_wave(6, grey(0.3), grey(0.3 + step)), FPS)) == breaks


@pytest.mark.parametrize(("darker", "breaks"), [(0.78, True), (0.82, False)])
def test_between_pictures_that_are_both_bright_nothing_counts(darker, breaks):
    assert bool(flashes(square_wave(6, grey(darker), grey(darker + 0.15)), FPS)) == breaks


@pytest.mark.parametrize(
    ("width", "height", "breaks"),
    [(150, 112, False), (192, 128, True), (1024, 16, False), (40, 576, False)],
)
def test_only_what_fills_a_quarter_of_a_field_of_ten_degrees_counts(width, height, breaks):
    how = {"box": (384, 192, width, height)} if width < 1024 else {"box": (0, 288, width, height)}
    if height == 576:
        how = {"box": (384, 0, width, height)}
    assert bool(flashes(square_wave(5, grey(0.1), grey(0.6), **how), FPS)) == breaks


def test_the_field_is_as_large_in_every_shape_of_film():
    for size in ((576, 1024), (1080, 1920), (1080, 1080), (1920, 1080)):
        seen = flash_view(picture(grey(0.5), size=size)).shape[:2]
        whole = np.ones(seen, bool)
        assert share_of_a_field(whole) == 1.0
        px = min(1024 / seen[1], 768 / seen[0])
        corner = np.zeros(seen, bool)
        corner[: round(128 / px), : round(170.5 / px)] = True  # a quarter of 341 x 256 px
        assert share_of_a_field(corner) == pytest.approx(0.25, abs=0.035)


def test_flashes_of_less_than_a_second_are_found_and_timed():
    still = [flash_view(picture(grey(0.2)))] * 48
    burst = square_wave(6, grey(0.5), grey(0.2), seconds=0.9)
    found = flashes([*still, *burst, *still], FPS)
    assert len(found) == 1
    assert 1.0 < found[0].second < 2.2 < found[0].until_second < 4.0
    assert found[0].pairs == 6


def test_two_bursts_far_from_each_other_are_two_places():
    still = [flash_view(picture(grey(0.2)))] * 72
    burst = square_wave(6, grey(0.5), grey(0.2), seconds=1)
    assert len(flashes([*burst, *still, *burst], FPS)) == 2


def test_slow_fades_between_day_and_night_are_counted_as_what_they_are():
    def wave(rate):
        light = 0.3 + 0.2 * np.sin(2 * np.pi * rate * np.arange(4 * FPS) / FPS)
        return [flash_view(picture(grey(each))) for each in light]

    assert not flashes(wave(2.5), FPS)
    assert flashes(wave(5), FPS)


RED, GREY = [0.2, 0.0, 0.0], [0.0425, 0.0425, 0.0425]  # of one luminance


def test_saturated_red_flashes_though_its_luminance_stays():
    found = flashes(square_wave(5, RED, GREY), FPS)
    assert found
    assert all(f.red for f in found)


def test_three_red_flashes_are_allowed():
    assert not flashes(square_wave(3, RED, GREY), FPS)


def test_a_pale_red_and_a_green_that_alternate_are_no_red_flash():
    pale, green = [0.2, 0.1, 0.1], [0.1, 0.129, 0.1]
    assert not flashes(square_wave(5, pale, green), FPS)


def test_red_on_black_is_a_red_flash():
    found = flashes(square_wave(5, [0.3, 0, 0], grey(0.0)), FPS)
    assert any(f.red for f in found)


def test_views_are_read_one_after_the_other_and_small():
    view = flash_view(picture(grey(0.2), size=(2160, 3840)))
    assert view.dtype == np.float16
    assert view.nbytes < 10_000
    assert np.allclose(view.astype(float), 0.2, atol=0.002)
    assert flashes(iter([view] * 10), FPS) == []


def test_a_film_without_pictures_breaks_nothing():
    assert flashes([], FPS) == []


@pytest.mark.parametrize("put_down_at", [1, 7, 24, 40, 71])
def test_a_look_that_was_put_down_and_taken_up_sees_what_one_look_sees(put_down_at):
    calm, burst = square_wave(1, grey(0.2), grey(0.5)), square_wave(6, grey(0.2), grey(0.6))
    views = [*calm[:30], *burst[:60], *square_wave(5, RED, GREY)[:60], *calm[:10]]
    first = Watch(FPS)
    found = list(first.see(views[:put_down_at]))
    kept = {name: each.copy() for name, each in first.state.items()}
    found += Watch.at(kept, FPS).see(views[put_down_at:])
    assert joined(found) == flashes(views, FPS)
    assert {each.red for each in joined(found)} == {False, True}
