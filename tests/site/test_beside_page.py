"""An earlier season beside this one: of known growth, by age; missing, damaged, unchanged."""

from datetime import date, timedelta
from math import exp

import pytest
from PIL import Image

from lapsekit.language.words import Words
from lapsekit.season import Season
from lapsekit.site import earlier, weeks
from lapsekit.site.beside_page import ahead_text, pairs_of
from lapsekit.site.build import build_site
from lapsekit.site.weeks import same_ages
from tests.site.small_season import add_frame
from tests.site.test_happenings import whole_of
from tests.test_besides import PER_DEGREE_DAY, SOWN, season_of

#: A tenth older than this and no week's picture is near.
WEEKLY = (10, 14, 21, 35)


@pytest.fixture
def seasons(tmp_path):
    """This season, warmer by two degrees than the one that it names."""
    then = season_of(tmp_path, "then", 2)
    for age in WEEKLY:
        add_frame(then, "bench", SOWN["then"] + timedelta(age))
    then.catalogue.close()
    own = season_of(tmp_path, "own", 1)
    for age in (10, 15, 21, 28, 35):
        add_frame(own, "bench", SOWN["own"] + timedelta(age))
    settings = own.folder / "season.toml"
    settings.write_text(settings.read_text() + '\n[site]\nearlier = "../then"\n')
    own.catalogue.close()
    own = Season(own.folder)
    yield own, Season(then.folder)
    own.catalogue.close()


def page_of(season):
    return " ".join((season.site / "beside" / "index.html").read_text(encoding="utf-8").split())


def held(season):
    from dataclasses import replace

    whole = whole_of(season)
    found, problems = weeks.hold(season, whole.almanac, whole.gallery, None)
    assert problems == []
    return replace(whole, held=found)


def test_the_ratio_at_the_same_age_holds_the_true_one(seasons, monkeypatch):
    monkeypatch.setattr(weeks, "show_weeks", lambda *_: ([], []))
    ((region, own, _, found),) = pairs_of(held(seasons[0]))
    last = found.index[-1]
    assert region.name == "basil"
    assert found.low[-1] < exp(PER_DEGREE_DAY * 2 * own.at[last]) < found.high[-1]


def test_the_page_says_so_and_shows_both_at_the_same_age(seasons):
    report = build_site(seasons[0])
    assert report.problems == []
    page = page_of(seasons[0])
    assert "On day 49: 2." in page and "last season’s" in page
    assert "in its life" not in page, "last season never came to this size"
    assert page.count("<figure>") == 2 * 3, "day 14 (15 now), 21 and 35; on day 28 none was taken"
    assert "Day 15, then day 14" in page and "Day 21<" in page and "Day 28" not in page
    assert 'href="../beside/index.html"' in (seasons[0].site / "about" / "index.html").read_text()


def test_pictures_of_the_earlier_season_carry_nothing_of_its_camera(seasons):
    build_site(seasons[0])
    files = [p for p in (seasons[0].site / "beside").iterdir() if p.suffix != ".html"]
    assert len(files) == 2 * 3
    for file in files:
        assert b"SECRET" not in file.read_bytes()
        with Image.open(file) as picture:
            assert not dict(picture.getexif())


def test_curves_that_did_not_change_are_not_worked_out_again(seasons, monkeypatch):
    own, then = seasons
    build_site(own)
    first = page_of(own)
    monkeypatch.setattr(earlier, "grow", lambda *_: pytest.fail("worked out again"))
    assert build_site(own).written == [] and page_of(own) == first
    monkeypatch.undo()
    rows = then.catalogue.daily("basil")
    then.catalogue.store_daily([row for row in rows if row.day < rows[-1].day])
    then.catalogue.store_daily([_without_value(rows[-1])])
    then.catalogue.close()
    build_site(own)
    assert page_of(own) != first and "On day 48:" in page_of(own)


def _without_value(row):
    from lapsekit.catalogue import Daily

    return Daily(row.region, row.day, None, None, None, None, None, None, 0, {})


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda then: (then / "season.toml").unlink(), "no season.toml there"),
        (lambda then: (then / "season.toml").write_text("[season"), "not valid TOML"),
        (lambda then: (then / "catalogue.sqlite").unlink(), "no catalogue.sqlite"),
        (lambda then: (then / "catalogue.sqlite").write_bytes(b"x" * 4096), "catalogue"),
        (lambda then: then.rename(then.with_name("gone")), "no season.toml there"),
    ],
)
def test_an_earlier_season_that_cannot_be_read_is_left_out_and_told(seasons, spoil, said):
    own, then = seasons
    then.catalogue.close()
    spoil(then.folder)
    (problem,) = build_site(own).problems
    assert said in problem and problem.startswith(str(then.folder)) and "[site]" in problem
    assert not (own.site / "beside").exists()
    assert "beside/index.html" not in (own.site / "index.html").read_text()


def test_an_earlier_picture_that_cannot_be_read_leaves_its_week_out(seasons):
    own, then = seasons
    (frame,) = then.catalogue.frames("bench", SOWN["then"] + timedelta(21))
    then.catalogue.close()
    (then.folder / frame.path).write_bytes(b"damaged")
    (problem,) = build_site(own).problems
    assert frame.path in problem and page_of(own).count("<figure>") == 2 * 2


def test_templates_of_the_earlier_season_are_not_run(seasons):
    own, then = seasons
    then.catalogue.close()
    (then.folder / "site_template").mkdir()
    (then.folder / "site_template" / "beside.html").write_text("{{ nothing_of_that_name }}")
    assert build_site(own).problems == []
    assert "Beside last season" in page_of(own)


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (9.4, "It came to this size 9 days earlier in its life."),
        (-1.2, "It came to this size 1 day later in its life."),
        (0.6, ""),
        (None, ""),
    ],
)
def test_days_ahead_are_said_where_there_is_one(days, said):
    assert ahead_text(Words("en"), days) == said


def test_a_week_has_the_pair_that_is_nearest():
    assert same_ages({6, 8, 14, 20, 28}, {7, 13, 14, 22, 30}) == [(6, 7), (14, 14)]
    assert same_ages(set(), {7}) == [] and same_ages({7}, set()) == []
    assert same_ages({0, 7}, {0, 7}) == [(0, 0), (7, 7)]


def test_days_before_sowing_are_no_week_of_both():
    first = date(2031, 4, 1)
    assert same_ages({(first - timedelta(n) - first).days for n in (7, 8)}, {1, 2}) == []
