"""What a season knows of the ground: only where frames are held to the reference view."""

import numpy as np
import pytest

from lapsekit.ruler import Ruler
from lapsekit.vision.known_ground import MOST
from tests.scenes import SETTINGS, encoded, make_season
from tests.vision.drawn_bench import POT, light_of, moment, photographed

MODEL = SETTINGS.replace('method = "exgr"', 'method = "model"')
UNHELD = MODEL + "\n[registration]\nuse = false\n"


def ruler_of(folder, settings):
    season = make_season(folder, settings, POT)
    for number in range(6):
        data = encoded(photographed(light_of(number), number), "JPEG", quality=92)
        season.archive.store("bench", moment(number), data, ".jpg")
    season.index()
    return Ruler(season)


def test_the_bench_is_known_again_in_a_later_frame(tmp_path):
    ruler = ruler_of(tmp_path, MODEL)
    frame = ruler.season.catalogue.frames("bench")[-1]
    picture = ruler.picture(frame)
    evidence = ruler.grounds.evidence("bench", picture, np.eye(3))
    assert evidence.shape == tuple(-(-side // 2) for side in picture.shape[:2])
    assert np.mean(evidence < -0.3 * MOST) > 0.5
    assert ruler.grounds.evidence("bench", picture, None) is None
    ruler.season.catalogue.close()


@pytest.mark.parametrize("settings", [UNHELD, SETTINGS])
def test_nothing_is_known_without_a_view_to_hold_to_or_a_model_that_doubts(tmp_path, settings):
    ruler = ruler_of(tmp_path, settings)
    assert ruler.grounds.of("bench") is None
    ruler.season.catalogue.close()
