"""A frame with a colour cast is measured as it would be in the reference frame's light."""

import shutil
from datetime import datetime

import cv2
import numpy as np
import pytest

from lapsekit.measuring import measure
from lapsekit.ruler import Ruler
from lapsekit.season import Season
from lapsekit.viewing import View
from lapsekit.vision.colour import LINEAR
from lapsekit.vision.light import even_out
from tests.sample.conftest import SAMPLE
from tests.scenes import SETTINGS, encoded, make_season
from tests.vision.drawn_bench import HEIGHT, POT, WIDTH, light_of, moment, photographed

CAST, AT, COUNT = np.float32((0.72, 1.0, 0.72)), 8, 12


CARD = "[[12, 322], [38, 322], [38, 348], [12, 348]]"


def measured_px(folder, settings=SETTINGS):
    """Canopy in each frame of three overcast and sunny days; the ninth has a green cast."""
    season = make_season(folder, settings, POT)
    for number in range(COUNT):
        light = light_of(number) * (CAST if number == AT else 1)
        light[320:350, 10:40] *= 0.35  # the white square becomes a grey card
        data = encoded(photographed(light, number), "JPEG", quality=92)
        season.archive.store("bench", moment(number), data, ".jpg")
    measure(season)
    rows = {f.taken_at: m.canopy_px for f, m in season.catalogue.measurements("pot")}
    return [rows.get(moment(number)) for number in range(COUNT)]


def test_a_green_cast_makes_no_plants(tmp_path, monkeypatch):
    found = measured_px(tmp_path / "evened")
    assert None not in found
    assert found[AT] == pytest.approx(found[AT - 1], rel=0.06)
    monkeypatch.setattr(View, "in_its_light", lambda self, picture, matrix: picture)
    as_it_came = measured_px(tmp_path / "as-it-came")
    assert as_it_came[AT] is None or as_it_came[AT] > 1.3 * as_it_came[AT - 1]


def test_a_grey_card_is_one_witness_more(tmp_path, monkeypatch):
    """Its outline reaches the reading of light as season.toml has it, and changes little."""
    told = []

    def watched(picture, reference, **given):
        told.append((given["card"], even_out(picture, reference, **given).method))
        return even_out(picture, reference, **given)

    monkeypatch.setattr("lapsekit.viewing.even_out", watched)
    with_card = SETTINGS.replace("px_per_cm = 10", f"px_per_cm = 10\ngrey_card = {CARD}")
    found = measured_px(tmp_path / "card", with_card)
    assert found[AT] == pytest.approx(found[AT - 1], rel=0.06)
    assert {card for card, _ in told} == {((12, 322), (38, 322), (38, 348), (12, 348))}
    assert "both" in {method for _, method in told}


def test_what_is_not_held_to_a_view_keeps_its_light(tmp_path):
    """Nothing tells which pixels show the same thing, so nothing is changed."""
    season = make_season(tmp_path / "bench", SETTINGS, POT)
    picture = photographed(light_of(0), 0)
    season.archive.store("bench", moment(0), encoded(picture), ".png")
    season.index()
    assert View(season, "bench").in_its_light(picture, None) is picture
    assert picture.shape == (HEIGHT, WIDTH, 3)


PINK = np.float32((1.3, 0.62, 1.2))
DAYS = ("2026-03-12", "2026-04-13", "2026-05-01")


def under(lamp, folder):
    """Areas of plants in a frame of each later day, by the first day's view, and what is noted."""
    folder.mkdir()
    for name in ("season.toml", "regions.toml"):
        shutil.copy(SAMPLE / name, folder)
    season = Season(folder)
    for day in DAYS:
        file = SAMPLE / "frames" / "bench" / day / f"{day.replace('-', '')}T100000Z.jpg"
        picture = cv2.cvtColor(cv2.imread(str(file)), cv2.COLOR_BGR2RGB)
        picture = np.searchsorted(LINEAR, np.clip(LINEAR[picture] * lamp, 0, 1)).astype(np.uint8)
        data = encoded(picture, "JPEG", quality=92)
        season.archive.store("bench", datetime.fromisoformat(f"{day}T10:00:00+00:00"), data, ".jpg")
    season.index()
    ruler = Ruler(season)
    frames = season.catalogue.frames()[1:]
    rows = (row for frame in frames for row in ruler.measure(frame)[2])
    found = {(row.path, row.region): row.area_cm2 for row in rows}
    told = " ".join(ruler.views["bench"].notes)
    season.catalogue.close()
    return found, told


def test_a_season_under_plant_lamps_is_measured_as_in_daylight(tmp_path):
    """As it came, soil would be taken for red leaves: the areas of half of the plants double."""
    plain, quiet = under(np.float32(1), tmp_path / "daylight")
    pink, told = under(PINK, tmp_path / "lamps")
    assert "coloured lamp" in told and "coloured lamp" not in quiet
    large = [key for key, area in plain.items() if area and area >= 15]
    assert len(large) >= 15
    apart = np.abs([pink[key] / plain[key] - 1 for key in large])
    assert np.median(apart) < 0.02 and np.quantile(apart, 0.9) < 0.08
