"""Geometry of the curves and the ribbon."""

from datetime import date, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from lapsekit.site.chart import LEVEL_GAP, Paper, Series, draw
from lapsekit.site.ribbon import cells, columns
from lapsekit.site.scales import date_ticks, decimals, doubling_levels, linear_levels, spread
from lapsekit.site.strokes import Point, Strand, band, path, specks, stretches, usual_step
from lapsekit.when import days_between
from tests.site.drawn_paths import places_of

START = date(2031, 4, 1)
PAPER = Paper(400, 200, 40, 60)


def day(number):
    return START + timedelta(days=number)


def lengths(points, longest):
    return [each.stop - each.start for each in stretches(Strand.of(points), longest)]


def test_no_date_on_the_axis_is_cut_off_at_the_right():
    """A narrow margin, and a date at the very end: its middle keeps half a date's width."""
    paper = Paper(360, 290, 40, 14)
    assert paper.for_words(paper.end) + 25 < paper.width
    assert paper.for_words(paper.left + 30) == paper.left + 30


def test_a_line_is_open_where_a_day_has_no_value():
    points = [Point(day(n), None if n == 2 else 5.0) for n in range(5)]
    assert lengths(points, 1) == [2, 2]


def test_a_line_is_open_where_a_daily_season_lacks_a_day():
    points = [Point(day(n), 5.0) for n in (0, 1, 3, 4)]
    assert lengths(points, usual_step(p.day.toordinal() for p in points)) == [2, 2]


def test_a_season_of_sparse_days_is_joined_at_its_own_pace():
    days = [day(n) for n in (0, 11, 22, 34, 90, 101)]
    longest = usual_step(d.toordinal() for d in days)
    assert 11 < longest < 56
    assert lengths([Point(d, 1.0) for d in days], longest) == [4, 2]


def test_no_values_no_chart():
    assert draw([Series("basil", Strand.of([Point(START, None)]))], PAPER, START) is None
    assert (
        draw([Series("basil", Strand.of([Point(START, 0.0)]))], PAPER, START, doubling=True) is None
    )


def test_a_single_day_is_a_dot():
    chart = draw([Series("basil", Strand.of([Point(START, 3.0, 2.0, 4.0)]))], PAPER, START)
    assert chart.lines[0].dots.count("M") == 1 and chart.lines[0].path == ""


def test_a_scale_of_doublings_draws_steady_growth_straight():
    points = Strand.of(Point(day(n), 2.0**n) for n in range(6))
    chart = draw([Series("basil", points)], PAPER, START, doubling=True)
    heights = [y for _, y in places_of(chart.lines[0].path)]
    steps = [a - b for a, b in pairwise(heights)]
    assert max(steps) - min(steps) < 0.21


def banded(*bands):
    """A curve of 100 cm² whose days are known to 1 cm² each, with these bands around it."""
    days = [Point(day(n), 100.0, 99.0, 101.0) for n in range(len(bands))]
    smooth = [Point(day(n), 100.0, *band) for n, band in enumerate(bands)]
    return Series("basil", Strand.of(days), Strand.of(smooth))


def test_the_levels_reach_over_the_band():
    chart = draw([banded((52, 150), (60, 130), (80, 116))], PAPER, START)
    assert chart.levels[-1][1] >= 150
    tops = [y for _, y in places_of(chart.lines[0].band)]
    assert len(set(tops)) == len(tops), "no end lies on the edge together with another"


def test_a_band_that_knows_nothing_of_a_day_presses_no_curve_flat():
    chart = draw([banded((0, 1e6), (60, 130), (80, 116))], PAPER, START)
    assert 130 <= chart.levels[-1][1] < 202


@given(st.floats(0.01, 1e7))
def test_levels_have_the_room_that_they_take(highest):
    """A figure is 0.51 em wide in our letters, and a gap between thousands 0.2 em."""
    levels = linear_levels(highest)
    texts = [f"{level:,.{decimals(level)}f}" for level in levels]
    marks = [sum(not letter.isdigit() for letter in text) for text in texts]
    widest = max(
        14 * (0.51 * (len(text) - n) + 0.2 * n) for text, n in zip(texts, marks, strict=True)
    )
    room = PAPER.with_room_for(levels).left - LEVEL_GAP
    assert room >= widest
    assert room == PAPER.left - LEVEL_GAP or room < 1.3 * widest + 3


tenths = st.integers(0, 20_000).map(lambda number: number / 10)
lists_of_places = st.lists(st.tuples(tenths, tenths), min_size=1, max_size=400)


@given(lists_of_places.map(sorted))
def test_steps_lead_to_every_day_however_many_came_before(places):
    assert places_of(specks(places)) == places
    corners = places_of(path(places))
    assert corners[0] == places[0] and corners[-1] == places[-1] and set(corners) <= set(places)


def test_a_band_goes_out_along_its_upper_ends_and_back_along_the_lower():
    upper, lower = [(0.5, 9.9), (7.0, 0.3), (8.5, 4.0)], [(0.5, 10.0), (7.0, 9.0), (8.5, 4.5)]
    assert places_of(band(upper, lower)) == [*upper, *reversed(lower)]


@given(st.floats(0.01, 1e6))
def test_linear_levels_reach_from_zero_over_the_highest(highest):
    levels = linear_levels(highest)
    assert levels[0] == 0 and levels[-1] >= highest * 0.999 and 3 <= len(levels) <= 8


@given(st.floats(0.01, 1e5), st.floats(1, 1e3))
def test_doubling_levels_enclose_what_is_shown(lowest, factor):
    levels = doubling_levels(lowest, lowest * factor)
    assert levels[0] <= lowest * 1.0001 and levels[-1] >= lowest * factor * 0.9999


@given(st.lists(st.floats(0, 300), max_size=15))
def test_labels_never_overlap_while_there_is_room(places):
    moved = sorted(spread(places, 17, 0, 300))
    assert all(b - a > 16.999 for a, b in pairwise(moved))
    assert all(-0.001 <= y <= 300.001 for y in moved)


@given(st.integers(0, 400), st.integers(-20, 60))
def test_dates_on_the_axis_are_few_and_within(span, age):
    ticks = date_ticks(START, day(span), day(-age), 6)
    assert 1 <= len(ticks) <= 6 and all(START <= t <= day(span) for t in ticks)


@given(st.sets(st.integers(0, 200), min_size=1))
def test_the_ribbon_stands_for_every_day_once_and_in_order(numbers):
    shown = {day(n) for n in numbers}
    days = list(days_between(min(shown), max(shown)))
    ribbon = cells(days, shown)
    told = [d for cell in ribbon for d in days_between(cell.first, cell.last)]
    assert told == days
    assert {cell.first for cell in ribbon if cell.picture} == shown
    assert columns(ribbon) <= 2 * len(days)
