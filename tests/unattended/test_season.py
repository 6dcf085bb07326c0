"""A short form of the 230 days: a week at each place, whole, and two months of faults accounted."""

import pytest

from tests.bench.unattended_season import FIRST_DAYS, season_of


@pytest.mark.parametrize("latitude", FIRST_DAYS)
def test_without_faults_every_due_frame_is_there(tmp_path, latitude):
    result = season_of(tmp_path / "s", latitude, 12, 60, None)  # a change of the clock inside
    assert result.there == result.due > 60
    assert result.daily_pictures == 12
    assert result.misdated_s < 1


@pytest.mark.parametrize("latitude", FIRST_DAYS)
def test_with_faults_whatever_is_absent_is_explained_and_written_down(tmp_path, latitude):
    result = season_of(tmp_path / "s", latitude, 60, 60, 11)
    assert sum(result.faults.values()) >= 6
    assert result.unexplained == []
    assert result.there < result.due
    assert result.accounted == result.due - result.there
    assert result.daily_pictures == result.days - result.days_without
    assert result.misdated_s < 1
