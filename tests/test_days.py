"""Days rest on the days before them, however frames come in and wherever work is stopped."""

import shutil
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from lapsekit.fading import SPAN_DAYS
from lapsekit.measuring import measure
from lapsekit.vision.daily import FADED_SHARE
from tests.scenes import FIRST_DAY, SETTINGS, bench_picture, disc_px, encoded, make_season, tables

DAYS = 20
BY_MODEL = SETTINGS.replace('"exgr"', '"model"')


def meeting(day, shot):
    """Two plants that grow into each other over the line between their outlines."""
    left, right = (95, 120, 30 + 2.5 * day + 0.3 * shot), (225, 120, 28 + 2.2 * day)
    return bench_picture([left, right], seed=10 * day + shot)


def file(season, day, shot):
    moment = datetime.combine(FIRST_DAY, datetime.min.time(), UTC)
    moment += timedelta(days=day, hours=9 + 3 * shot)
    return season.archive.store("bench", moment, encoded(meeting(day, shot)), ".png")


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """All frames measured at once, in a folder to copy pictures from; and its tables."""
    season = make_season(tmp_path_factory.mktemp("calm"), BY_MODEL)
    for day in range(DAYS):
        for shot in range(3):
            file(season, day, shot)
    measure(season)
    yield season
    season.catalogue.close()


TELLING = next(n for n in range(2, DAYS) if (FIRST_DAY.toordinal() + n) % SPAN_DAYS == 0)
"""A day whose middle frame tells of faint colours, for itself and three more."""


@pytest.fixture(params=[(2, 1), (TELLING, 1)], ids=["any frame", "telling frame"])
def late(tmp_path, undisturbed, request):
    """The same season but for one frame of one day, measured; and the path that lacks."""
    day, shot = request.param
    season = make_season(tmp_path / "late", BY_MODEL)
    shutil.copytree(undisturbed.folder / "frames", season.folder / "frames", dirs_exist_ok=True)
    path = undisturbed.catalogue.frames(day=FIRST_DAY + timedelta(day))[shot].path
    (season.folder / path).unlink()
    measure(season)
    yield season, path
    season.catalogue.close()


def bring(season, path, undisturbed):
    shutil.copy(undisturbed.folder / path, season.folder / path)


def test_plants_that_meet_are_told_apart_day_by_day(undisturbed):
    both = disc_px(30 + 2.5 * 19) + disc_px(28 + 2.2 * 19)
    left, right = (undisturbed.catalogue.daily(name)[-1] for name in ("basil", "chives"))
    assert left.touches == ("chives",)
    assert right.touches == ("basil",)
    assert left.crowded
    overlap = both - 100 * (left.area_cm2 + right.area_cm2)
    assert overlap > 100, "they lie over each other"
    for row, radius in ((left, 30 + 2.5 * 19), (right, 28 + 2.2 * 19)):
        assert disc_px(radius) / 100 - row.area_cm2 == pytest.approx(overlap / 200, abs=8)
    first = undisturbed.catalogue.daily("basil")[0]
    assert first.touches == ()
    assert first.crowded is False
    assert left.parts["neighbours"] > 0
    assert first.parts.get("neighbours", 0) == 0


def test_a_late_frame_ends_in_the_tables_of_one_that_came_in_time(late, undisturbed):
    season, path = late
    assert tables(season) != tables(undisturbed)
    bring(season, path, undisturbed)
    report = measure(season)
    assert report.measured == 1
    assert tables(season) == tables(undisturbed)


def test_a_late_frame_redoes_no_day_that_does_not_rest_on_it(late, undisturbed):
    season, path = late
    bring(season, path, undisturbed)
    assert 2 * 15 <= measure(season).days < 2 * DAYS


@pytest.mark.parametrize("stop_after", [0, 1, 5, 14])
def test_work_that_is_stopped_after_any_day_ends_in_the_same_tables(late, undisturbed, stop_after):
    season, path = late
    bring(season, path, undisturbed)

    def stop(items, total, label):
        for number, item in enumerate(items):
            if label == "working out days" and number == stop_after:
                raise KeyboardInterrupt
            yield item

    with pytest.raises(KeyboardInterrupt):
        measure(season, workers=1, track=stop)
    measure(season)
    assert tables(season) == tables(undisturbed)


def test_deleted_shapes_change_no_number(late, undisturbed):
    season, path = late
    shutil.rmtree(season.folder / ".cache")
    bring(season, path, undisturbed)
    measure(season)
    assert tables(season) == tables(undisturbed)


def test_days_that_wait_are_worked_out_from_shapes_of_their_past_that_are_gone(tmp_path):
    whole, parted = (make_season(tmp_path / name) for name in ("whole", "parted"))
    for day in range(6):
        file(whole, day, 0)
        file(parted, day, 0)
        if day == 4:
            measure(parted)
            shutil.rmtree(parted.folder / ".cache")
    measure(whole)
    measure(parted)
    assert tables(parted) == tables(whole)


def test_the_colours_and_movement_of_a_day_are_told(undisturbed):
    day = undisturbed.catalogue.daily("basil")[0]
    assert day.greenness == pytest.approx(140 / (70 + 140 + 48), abs=0.02)
    assert day.yellow_share == pytest.approx(0, abs=0.01)
    areas = [m.area_cm2 for _, m in undisturbed.catalogue.measurements("basil", FIRST_DAY)]
    assert day.range_share == pytest.approx(np.ptp(areas) / np.median(areas))


def test_in_every_few_days_one_frame_tells_how_much_hangs_on_faint_colours(undisturbed):
    """The middle frame of a span's first day, for all days of the span."""
    told = [
        (frame, row.faded_share)
        for frame, row in undisturbed.catalogue.measurements("basil")
        if row.faded_share is not None
    ]
    spans = [frame.day.toordinal() // SPAN_DAYS for frame, _ in told]
    assert spans == sorted({d.day.toordinal() // SPAN_DAYS for d in basil(undisturbed)})
    assert {frame.taken_at.hour for frame, _ in told} == {12}
    assert [f.day for f, _ in told[1:]] == [
        f.day for f, _ in told[1:] if f.day.toordinal() % SPAN_DAYS == 0
    ]
    share_of = dict(zip(spans, (share for _, share in told), strict=True))
    for daily in basil(undisturbed):
        share = share_of[daily.day.toordinal() // SPAN_DAYS]
        expected = 1.96 * FADED_SHARE * share * daily.area_cm2
        assert daily.parts.get("colours", 0) == pytest.approx(expected, abs=1e-5)


def basil(season):
    return season.catalogue.daily("basil")


def test_frames_of_another_size_end_in_the_same_tables_whenever_they_come(tmp_path):
    """A telling day begins with such a frame, and has usual ones only when it was measured once."""
    whole, parted = (make_season(tmp_path / name, BY_MODEL) for name in ("whole", "parted"))
    for season in (whole, parted):
        for day in (TELLING - 1, TELLING, TELLING + 1):
            if day == TELLING:
                moment = datetime.combine(FIRST_DAY, datetime.min.time(), UTC)
                moment += timedelta(days=day, hours=8)
                picture = bench_picture([(100, 150, 40), (300, 150, 40)], size=(400, 300))
                season.archive.store("bench", moment, encoded(picture), ".png")
                if season is parted:
                    measure(season)
            for shot in range(3):
                file(season, day, shot)
                if season is parted and day > TELLING:
                    measure(season)
        measure(season)
    assert tables(parted) == tables(whole)
    for season in (whole, parted):
        season.catalogue.close()


MOVED = """\
[[region]]
name = "basil"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[0, 0], [160, 0], [160, 240], [0, 240]]
[[region.outline]]
from = {day}
points = [[0, 0], [170, 0], [170, 240], [0, 240]]
"""


def test_a_new_outline_is_looked_at_anew(tmp_path):
    """Within a span too: another pot may be another soil."""
    moved = FIRST_DAY + timedelta(TELLING + 2)
    season = make_season(tmp_path / "moved", BY_MODEL, MOVED.format(day=moved))
    for day in range(TELLING, TELLING + 4):
        file(season, day, 0)
    measure(season)
    told = [f.day for f, row in season.catalogue.measurements("basil") if row.faded_share]
    assert told == [FIRST_DAY + timedelta(TELLING), moved]
    season.catalogue.close()
