"""The growth plots: scales that fit what is shown."""

import re
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.text import Text

from lapsekit.area_scale import log_scale
from lapsekit.catalogue import Daily
from lapsekit.growing import Growth
from lapsekit.growth_plots import area_plot, rate_plot, sheet
from lapsekit.plotting import fitted_lines, panel_title
from tests.scenes import make_season

FIRST = date(2031, 4, 1)


@pytest.fixture
def region(tmp_path):
    season = make_season(tmp_path / "bench")
    yield season.regions.region[0]
    season.catalogue.close()


def growth_of(region, areas):
    daily = [
        Daily(
            *("basil", FIRST + timedelta(days=day), 0.2, 0.19, 0.21),
            *(area * share for share in (1, 0.98, 1.02)),
            *(5, {}),
        )
        for day, area in enumerate(areas)
    ]
    return Growth(region, daily)


def numbers_named(svg):
    """Numbers at a scale: those that end at its left edge."""
    texts = re.findall(r"<text style=\"[^\"]*text-anchor: end[^>]*>([^<]*)</text>", svg.decode())
    plain = [text.replace("\N{MINUS SIGN}", "-") for text in texts]
    return [float(text) for text in plain if re.fullmatch(r"-?[\d.]+", text)]


def areas_named(growth):
    return numbers_named(area_plot([growth], [])["svg"])


@pytest.mark.parametrize(
    ("areas", "named"),
    [
        ([100.0, 104, 109, 113, 118], [70, 100, 150]),
        ([3.0, 4.1, 5.6, 7.5, 10], [3, 5, 7, 10, 15]),
        ([2.0, 5, 12, 30, 75], [2, 5, 10, 20, 50, 100]),
        (list(2.0 ** np.arange(10)), [20, 50, 100, 200, 500]),
    ],
)
def test_the_scale_of_areas_spans_what_the_days_hold_and_two_decades_at_most(region, areas, named):
    assert areas_named(growth_of(region, areas)) == named


@pytest.mark.parametrize(
    ("a_day", "least", "most"), [(0.05, -0.05, 0.15), (0.6, -0.05, 0.6), (-0.2, -0.2, 0.15)]
)
def test_the_scale_of_rates_spans_the_fastest_and_the_slowest_plant(region, a_day, least, most):
    calm = growth_of(region, list(50 * np.exp(0.05 * np.arange(8))))
    other = growth_of(region, list(60 * np.exp(a_day * np.arange(8))))
    named = numbers_named(rate_plot([calm, other], [])["svg"])
    apart = min(np.diff(sorted(set(named))))
    assert min(named) == pytest.approx(least, abs=apart)
    assert max(named) == pytest.approx(most, abs=apart)


def test_a_group_of_plants_that_have_no_curve_yet_is_drawn_without_a_scale(region):
    one, other = (region.model_copy(update={"name": n, "group": "tray"}) for n in "ab")
    growths = [growth_of(each, [3.0, 4.0]) for each in (one, other)]
    svg = area_plot(growths, [])["svg"].decode()
    assert "tray, 2 plants" in svg
    assert re.search(r"2031-04-01 to 2031-04-02", svg)


@given(
    st.lists(st.floats(min_value=1e-3, max_value=1e4), min_size=1, max_size=20),
    st.sampled_from([1.6, 2.6]),
)
def test_all_but_the_smallest_areas_lie_on_the_scale_and_three_to_eight_are_named(areas, above):
    axis = Figure().subplots()
    log_scale(axis, np.array([*areas, 0.0, np.nan]), above)
    low, high = axis.get_ylim()
    assert high == pytest.approx(above * max(areas))
    assert 2 * above <= high / low * 1.000001 <= 50 * above * 1.000002
    assert all(low < area < high for area in areas if area > 0.02 * max(areas))
    assert 3 <= len(axis.get_yticks()) <= 8
    assert all(low <= named <= high for named in axis.get_yticks())


def test_a_panel_without_any_area_has_a_scale():
    axis = Figure().subplots()
    log_scale(axis, np.array([0.0, np.nan]))
    assert axis.get_ylim() == pytest.approx((0.5, 1.6))


LONG = "Red lettuce, a very long name for a plant that nobody would ever call by it, row 7"


def titles_of(title, unit, levels):
    """Left and right titles of two panels, as boxes on the picture, and the picture's own."""
    drawn = []

    def draw(axis, panel):
        axis.set_yticks([0, 1], levels)
        panel_title(axis, title, unit)
        drawn.append(axis)

    sheet([0, 1], draw, "foot")
    figure = drawn[0].figure
    figure.draw_without_rendering()  # files were written at another resolution
    boxes = [
        {text.get_text(): text.get_window_extent() for text in axis.findobj(Text)} for axis in drawn
    ]
    return boxes, figure.bbox


@pytest.mark.parametrize("title", [LONG, "W" * 80, "Basil » & <green> of the south wall"])
@pytest.mark.parametrize("unit", ["cm²", "per day", "1234 plants"])
def test_a_long_title_runs_neither_into_the_unit_nor_out_of_the_picture(title, unit):
    boxes, picture = titles_of(title, unit, ["", "10000"])
    for known in boxes:
        ((text, box),) = ((t, b) for t, b in known.items() if t[:2] == title[:2])
        assert box.x1 < known[unit].x0, text
        assert known[unit].x1 <= picture.x1 and box.y1 <= picture.y1


def test_a_title_keeps_its_words_as_long_as_there_is_room():
    assert fitted_lines("Pak choi", 130) == ["Pak choi"]
    first, second = fitted_lines(LONG, 130)
    assert second.endswith("…") and LONG.startswith(f"{first} {second[:-1]}")
    assert "".join(fitted_lines("Basil of the south wall", 80)).replace(" ", "") == (
        "Basilofthesouthwall"
    )


def test_a_title_with_dollars_is_no_formula():
    boxes, _ = titles_of("Chard $1 and $2_x", "cm²", ["", "1"])
    assert "Chard $1 and $2_x" in boxes[0]
    assert (
        "Chard $1 and $2_x"
        in sheet([0], lambda a, _: panel_title(a, "Chard $1 and $2_x"), "")["svg"].decode()
    )
