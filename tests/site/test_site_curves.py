"""What the curves are made of: numbers, their digits, the script's data, CSVs, inks."""

import csv
import gzip
import io
import json
import random
import re
from datetime import date
from itertools import pairwise
from math import exp
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsekit.language.words import ENGLISH
from lapsekit.noticing import notice
from lapsekit.reporting import work_out
from lapsekit.season import Season
from lapsekit.site.almanac import gather
from lapsekit.site.chart import DASHES, INKS, Paper, Series, draw, look_of
from lapsekit.site.curve_words import doubts
from lapsekit.site.curves import PlantCurve, gathered, rounded
from lapsekit.site.growth_facts import curve_files, growth_facts, why_open
from lapsekit.site.ranking import Rate, ranking, rates
from lapsekit.site.scales import simplified
from lapsekit.site.strokes import Point, Strand
from tests.site.curve_season import DARK, UNSEEN, at_its_end, basil_cm2, day, dill_cm2, fill
from tests.site.drawn_paths import places_of
from tests.site.small_season import found

STYLE = Path(__file__).parents[2] / "site_template" / "style.css"


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    """Almanac, growths and curves of the season of known areas."""
    season = found(tmp_path_factory.mktemp("known") / "season")
    fill(season)
    season = Season(season.folder, clock=at_its_end)
    almanac, report = gather(season), work_out(season)
    yield season, almanac, report.growths, gathered(almanac, report.growths)
    season.catalogue.close()


@pytest.fixture(scope="module")
def files(known):
    _, almanac, _, curves = known
    return dict(curve_files(almanac, curves))


@pytest.fixture(scope="module")
def script(files):
    text = files["data/curves.js"].decode()
    return json.loads(text.removeprefix("lapsekit.curves = ").removesuffix(";\n"))


def series(script, name):
    return next(each for each in script["series"] if each["name"] == name)


def test_the_script_holds_each_days_value_and_leaves_gaps_open(script):
    basil = series(script, "basil")
    assert [basil["camera"], series(script, "cress")["camera"]] == ["bench", "trough"]
    assert script["days"][0] == "2031-04-01" and len(script["days"]) == 40
    for number in (0, 7, 39):
        assert basil["value"][number] == pytest.approx(basil_cm2(number), rel=0.02)
        assert basil["low"][number] < basil["value"][number] < basil["high"][number]
    for number in (DARK, UNSEEN):
        assert {basil[k][number] for k in ("low", "value", "high", "curve", "curve_low")} == {None}
    assert basil["why"] == {str(DARK): "1 dark", str(UNSEEN): "no frame was taken"}
    assert basil["stretches"] == [0, DARK + 1, UNSEEN + 1]
    assert script["pages"] == [1, 1] + [0] * 38
    assert series(script, "cress")["unit"] == "%"
    assert series(script, "cress")["value"][9] == 10


def test_the_smooth_curve_follows_a_plant_that_doubles_every_five_days(script):
    basil = series(script, "basil")
    for number in range(40):
        if number not in (DARK, UNSEEN):
            low, value, high = (basil[k][number] for k in ("curve_low", "curve", "curve_high"))
            assert value == pytest.approx(basil_cm2(number), rel=0.03)
            assert low <= value <= high


def test_only_what_is_rare_on_the_bench_is_marked(script):
    told = [(e["day"], e["region"], e["text"]) for e in script["events"]]
    assert told == [
        ("2031-04-10", "basil", "potted on: into <i>14 cm</i>"),
        ("2031-04-15", None, "cold: frost at dawn"),
    ]


def test_no_text_can_end_the_script(files):
    assert b"<" not in files["data/curves.js"]


def rows(content):
    return list(csv.DictReader(io.StringIO(content.decode())))


def test_the_csv_of_a_chart_holds_exactly_what_is_drawn(files, script):
    names = {"low": "low_cm2", "value": "cm2", "high": "high_cm2"}
    names |= {"curve_low": "curve_low_cm2", "curve": "curve_cm2", "curve_high": "curve_high_cm2"}
    wide = rows(files["data/canopy-cm2.csv"])
    for name in ("basil", "dill"):
        drawn, alone = series(script, name), rows(files[f"data/plant-{name}.csv"])
        assert [row["day"] for row in alone] == script["days"] == [row["day"] for row in wide]
        for key, column in names.items():
            shown = ["" if value is None else f"{value:g}" for value in drawn[key]]
            assert [row[column] for row in alone] == shown
            assert [row[f"{name}_{column}"] for row in wide] == shown
    assert rows(files["data/plant-dill.csv"])[5]["plant_age_days"] == "5", "sown that day"
    assert {"cress_percent"} <= set(rows(files["data/canopy-percent.csv"])[0])


def test_the_static_picture_draws_the_same_numbers(known, script):
    _, almanac, growths, curves = known
    facts = growth_facts(almanac, curves, growths, notice(known[0], growths))
    plant = next(p for p in facts["plants"] if p.name == "basil")
    paper = plant.chart.paper
    (top, highest, _) = plant.chart.levels[-1]
    dots = places_of(plant.chart.lines[0].dots)
    assert len(dots) == 38
    for number, (x, y) in ((0, dots[0]), (39, dots[-1])):
        share = (paper.base - y) / (paper.base - top)
        assert share * highest == pytest.approx(basil_cm2(number), abs=highest / 400)
        assert x == pytest.approx(paper.left + (paper.end - paper.left) * number / 39, abs=0.1)
    assert plant.chart.lines[0].path.count("M") == 3, "open at two gaps"


def test_the_fastest_now_is_named_with_its_interval(known):
    _, almanac, growths, curves = known
    told = ranking(almanac.words, curves, growths)
    assert told.headline.startswith("Basil grows fastest now (10 May): 14\u00a0% a day (")
    assert "doubles in 5.0 days" in told.headline
    assert told.ranked[0].name == "basil"
    now, without = rates(curves, growths)
    assert now[0].per_day == pytest.approx(0.1386, rel=0.02) and without == []


def rate(name, per_day, half, when=date(2031, 5, 1)):
    return Rate(name, name, when, per_day, per_day - half, per_day + half)


@pytest.mark.parametrize(
    ("now", "said"),
    [
        ([rate("A", 0.10, 0.01), rate("B", 0.05, 0.01)], "A grows fastest now"),
        ([rate("A", 0.10, 0.01), rate("B", 0.09, 0.02)], "overlaps with the interval of B"),
        ([rate("A", 0.01, 0.02), rate("B", 0.00, 0.02)], "No plant is shown to grow now"),
        ([rate("A", 0.1, 0.05)] + [rate(c, 0.08, 0.05) for c in "BCDE"], "of 4 other plants"),
    ],
)
def test_what_cannot_be_told_apart_is_said(now, said):
    from lapsekit.site.ranking import _headline

    assert said in _headline(ENGLISH, now)


def curve(values, smooth=None, **more):
    base = {
        "page": "a",
        "name": "basil",
        "title": "Basil",
        "group": None,
        "camera": "bench",
        "mean_of": 0,
    }
    base |= {"in_overview": True, "unit": "cm²", "sown": day(-7), "breaks": (), "outlying": ()}
    base["bare_days"] = 0
    return PlantCurve(**(base | more), values=values, curve=smooth or {})


def test_what_is_uncertain_and_left_out_is_said_in_sentences():
    three = (95.0, 100.0, 105.0)
    values = {day(n): three for n in range(12) if n not in (4, 5)}
    values[day(8)] = (None, None, None)
    smooth = {d: (90.0, 100.0, 110.0) for d, v in values.items() if v[1]}
    why = {day(4): "1 dark", day(5): "1 dark", day(8): "2 blurred"}
    told = doubts(
        ENGLISH,
        curve(values, smooth, outlying=(day(2), day(10)), breaks=(day(9),)),
        why.__getitem__,
        [day(6)],
    )
    assert [text.replace("\u00a0", " ") for text in told] == [
        "The curve ends on 12 Apr at 100 cm²; its band there reaches from 90 to 110, 10 % to "
        "either side.",
        "Without a value: 5 Apr to 6 Apr (1 dark); 9 Apr (2 blurred).",
        "Passed over by the curve, since they lie too far from the days around them: 3 Apr and "
        "11 Apr.",
        "The curve is open before 10 Apr: the area had changed at once.",
        "On 1 day its leaves met a neighbour’s or reached its outline; what then was its own is "
        "less sure.",
    ]


def test_many_missing_days_are_counted_not_listed():
    values = {day(n): (1.0, 2.0, 3.0) for n in range(0, 21, 2)}
    told = doubts(ENGLISH, curve(values), lambda _: "dark")
    assert told[1].endswith("8 Apr (dark); and 6 more, in the table.")


def test_of_a_day_why_it_is_open_is_found(known):
    _, almanac, _, curves = known
    basil = next(c for c in curves if c.name == "basil")
    assert why_open(almanac, basil, day(DARK)) == "1 dark"
    assert why_open(almanac, basil, day(UNSEEN)) == "no frame was taken"


@given(st.floats(0.02, 1e5), st.floats(0.002, 0.5))
def test_rounding_moves_nothing_by_more_than_a_twentieth_of_its_interval(value, share):
    three = (value * (1 - share), value, value * (1 + share))
    for exact, told in zip(three, rounded(three), strict=True):
        assert abs(told - exact) <= 2 * value * share / 20 + 1e-9


def test_a_value_is_never_coarser_than_pages_say_it():
    assert rounded((567.4, 626.2, 685.1)) == (567, 626, 685)
    assert rounded((None, None, None)) == (None, None, None)
    assert rounded((None, 12.3456, None)) == (None, 12.35, None)


@given(st.lists(st.floats(0, 200), min_size=1, max_size=60))
def test_a_simplified_path_strays_by_no_more_than_it_may(heights):
    places = [(3.0 * n, y) for n, y in enumerate(heights)]
    kept = simplified(places, 0.3)
    assert kept[0] == places[0] and kept[-1] == places[-1]
    for (x0, y0), (x1, y1) in pairwise(kept):
        for x, y in places:
            if x0 < x < x1:
                on_line = y0 + (y1 - y0) * (x - x0) / (x1 - x0)
                away = abs(y - on_line) * (x1 - x0) / ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
                assert away <= 0.3 + 1e-9


def test_a_curve_is_open_where_the_area_changed_at_once():
    points = Strand.of(Point(day(n), 5.0 if n < 5 else 2.0, 1.0, 6.0) for n in range(10))
    chart = draw([Series("basil", points, points, (day(5),))], Paper(400, 200, 40, 60), day(0))
    assert chart.lines[0].path.count("M") == 2


def test_ink_and_dash_together_tell_many_plants_apart():
    looks = [look_of(number) for number in range(40)]
    assert len(set(looks)) == 40 == INKS * len(DASHES)
    for one, other in pairwise(looks):
        assert one[0] != other[0] and one[1] != other[1]


def colours(block):
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block))


def linear(colour):
    shares = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    return [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]


def luminance(colour):
    return sum(w * s for w, s in zip((0.2126, 0.7152, 0.0722), linear(colour), strict=True))


#: Machado, Oliveira & Fernandes (2009), full severity, on linear light.
SEEN_BY = {
    "all cones": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "no long": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "no middle": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "no short": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}


def lab(colour, eye):
    """Oklab as this eye has it."""
    r, g, b = (
        min(1, max(0, sum(w * s for w, s in zip(row, linear(colour), strict=True)))) for row in eye
    )
    long = (0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b) ** (1 / 3)
    middle = (0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b) ** (1 / 3)
    short = (0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b) ** (1 / 3)
    return (
        0.2104542553 * long + 0.7936177850 * middle - 0.0040720468 * short,
        1.9779984951 * long - 2.4285922050 * middle + 0.4505937099 * short,
        0.0259040371 * long + 0.7827717662 * middle - 0.8086757660 * short,
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_inks_stand_out_from_the_paper_and_from_each_other_for_every_eye(scheme):
    style = STYLE.read_text(encoding="utf-8")
    dark = re.findall(r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}", style, re.S)
    light = re.findall(r"^:root \{(.*?)\}", style, re.S | re.M)
    found = colours(" ".join(light)) | (colours(" ".join(dark)) if scheme == "dark" else {})
    inks = [found[f"ink-{number}"] for number in range(1, INKS + 1)]
    for ink in inks:
        high, low = sorted((luminance(found["paper"]), luminance(ink)), reverse=True)
        assert (high + 0.05) / (low + 0.05) >= 3
    for eye, matrix in SEEN_BY.items():
        seen = [lab(ink, matrix) for ink in inks]
        for k, one in enumerate(seen):
            for other in seen[k + 1 :]:
                away = sum((a - b) ** 2 for a, b in zip(one, other, strict=True)) ** 0.5
                assert away >= 0.1, eye


def test_a_year_of_eight_plants_is_a_small_file(known):
    chance, plants = random.Random(7), []
    for plant in range(8):
        values, smooth = {}, {}
        for number in range(365):
            true = 900 / (1 + 150 * exp(-(0.03 + 0.005 * plant) * number))
            area, half = true * chance.gauss(1, 0.02), true * chance.uniform(0.02, 0.04)
            values[day(number)] = rounded((area - half, area, area + half))
            smooth[day(number)] = rounded((0.98 * true, true, 1.02 * true))
        plants.append(curve(values, smooth, name=f"p{plant}"))
    content = dict(curve_files(known[1], plants))["data/curves.js"]
    assert len(gzip.compress(content)) < 30_000


def test_dill_is_drawn_as_it_was_measured(script):
    dill = series(script, "dill")
    assert [dill["value"][n] for n in (0, 10, 39)] == [dill_cm2(n) for n in (0, 10, 39)]
