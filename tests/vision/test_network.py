"""Large pictures are looked at in parts, and come out as if they had been looked at whole."""

import cv2
import numpy as np
import pytest

from lapsekit.resources import shipped_model_text
from lapsekit.vision import network as module
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.cover import shares_of
from lapsekit.vision.network import BESIDE_PX, MARGIN_PX, MOST_PX, STEP_PX
from tests.vision.drawn_bench import frame


@pytest.fixture(scope="module")
def network():
    return CanopyModel.from_json(shipped_model_text()).network


@pytest.fixture(scope="module")
def picture():
    """A drawn bench, twice as large: 960 x 720 px."""
    return cv2.resize(frame(60), None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)


def whole(network, picture, monkeypatch):
    monkeypatch.setattr(module, "MOST_PX", picture.size)
    return network.odds(picture)


def test_shares_are_those_of_the_whole_picture(network, picture, monkeypatch):
    parts = shares_of(network.odds(picture))
    once = shares_of(whole(network, picture, monkeypatch))
    assert (once > 0.5).mean() > 0.02
    differ = np.abs(parts - once)
    assert 0 < differ.max() < 0.03  # in parts indeed, and no worse than is said
    assert np.quantile(differ, 0.9999) < 0.01
    assert parts.sum() == pytest.approx(once.sum(), rel=1e-4)


def test_what_is_seen_at_once_stays_small(network, monkeypatch):
    shown = []
    run = module.Network._run

    def watched(self, part, detail):
        shown.append(part.shape[:2])
        return run(self, part, detail)

    monkeypatch.setattr(module.Network, "_run", watched)
    network.odds(np.full((1500, 2000, 3), 90, np.uint8))
    around = 2 * (MARGIN_PX + BESIDE_PX)
    assert len(shown) >= 1500 * 2000 / MOST_PX
    assert max((h - around) * (w - around) for h, w in shown) <= MOST_PX
    assert all(side % STEP_PX == 0 for sides in shown for side in sides)


@pytest.mark.parametrize("size", [(1, 1), (5, 700), (700, 5), (17, 33), (16, 40000), (901, 1203)])
def test_sizes_of_every_kind_come_out_as_they_went_in(network, size, monkeypatch):
    picture = np.random.default_rng(2).integers(0, 256, (*size, 3), np.uint8)
    found = network.odds(picture)
    assert found.shape == size and np.isfinite(found).all()
    once = whole(network, picture, monkeypatch)
    assert np.abs(shares_of(found) - shares_of(once)).mean() < 1e-3
