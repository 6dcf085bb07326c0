"""A season whose camera is asked every hour."""

import pytest

from lapsekit.season import Season
from tests.scenes import SETTINGS, make_season
from tests.unattended.simulated import CAPTURE


@pytest.fixture
def bench(tmp_path):
    text = SETTINGS.split("[capture]")[0].replace('kind = "files"', 'kind = "usb"') + CAPTURE
    make_season(tmp_path / "bench", text).catalogue.close()
    season = Season(tmp_path / "bench")
    yield season
    season.catalogue.close()
