"""A season whose chain runs every morning ends as one that is measured and shown once."""

from datetime import timedelta

from lapsekit.cameras.replay import Replay
from lapsekit.sample import copy_sample_season
from lapsekit.season import Season
from lapsekit.unattended.morning import morning
from lapsekit.unattended.simulating import SimulatedClock, simulate
from tests.sample.conftest import SAMPLE

DAYS = 16
STAMPED = ("diary.ics",)
"""Say when they were written."""


def played(folder, each_morning):
    """The first days of the sample season on the bench, and the chain once at their end."""
    copy_sample_season(SAMPLE, folder)
    first = Replay(SAMPLE / "frames").moments[0][0]
    clock = SimulatedClock(first - timedelta(minutes=1))
    season = Season(folder, clock)
    with season.lock("test"):
        simulate(season, clock, first + timedelta(days=DAYS), lambda: each_morning(season))
        morning(season)
    season.catalogue.close()
    kept = ("growth", "site")
    files = (path for name in kept for path in (folder / name).rglob("*") if path.is_file())
    return {str(p.relative_to(folder)): p.read_bytes() for p in files if p.name not in STAMPED}


def test_morning_by_morning_ends_in_the_same_tables_and_pages_as_all_at_once(tmp_path):
    daily = played(tmp_path / "daily", morning)
    at_once = played(tmp_path / "at-once", lambda season: None)
    assert len(daily) > 100 and daily.keys() == at_once.keys()
    assert [name for name in daily if daily[name] != at_once[name]] == []
