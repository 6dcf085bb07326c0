"""What happened, in sentences: of a known diary, known pauses and losses, known responses."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from lapsekit.diary import Event
from lapsekit.growth.responses import Effect, Response
from lapsekit.language.words import Words
from lapsekit.reporting import work_out
from lapsekit.responding import EventResponse
from lapsekit.site.almanac import gather
from lapsekit.site.build import build_site
from lapsekit.site.contents import Whole
from lapsekit.site.gallery import Gallery
from lapsekit.site.response_words import response_text
from lapsekit.site.writing import SiteFolder
from tests.scenes import FIRST_DAY, make_season
from tests.site.small_season import FIRST, UNSEEN
from tests.test_noticing import CUT, GOES_ON, PAUSED, rows_of

ENGLISH = Words("en")
OTHERS = tuple(f"plant-{n}" for n in range(7))
FED = Event(date(2031, 4, 8), "basil", "potted on", "")


def whole_of(season):
    almanac = gather(season)
    gallery = Gallery(season, almanac, SiteFolder(season.site))
    return Whole(season, almanac, gallery, {}, work_out(season))


@pytest.fixture
def story(tmp_path):
    """Basil is potted on and pauses; chives are cut; the bench is watered and harvested."""
    season = make_season(tmp_path / "bench")
    season.clock = lambda: datetime(2031, 7, 1, tzinfo=UTC)
    (season.folder / "diary.csv").write_text(
        "date,region,event,note\n"
        f"{FIRST_DAY + timedelta(PAUSED)},basil,potted on,into 14 cm\n"
        f"{FIRST_DAY + timedelta(PAUSED)},,watered,\n"
        f"{FIRST_DAY + timedelta(CUT)},chives,cut,BBCH 61 at last\n"
        f"{FIRST_DAY + timedelta(44)},basil,harvest,1.25 kg of leaves\n"
    )
    season.catalogue.store_daily([*rows_of("basil", 1), *rows_of("chives", 2)])
    yield season
    season.catalogue.close()


def response(rate=None, step=None, **changes):
    plain = Effect(0.01, -0.01, 0.03, 0.5, 1.0)
    found = Response(
        ("basil",), OTHERS, OTHERS, 0.122, 0.003, 0.179, 0.108, rate or plain, step or plain, 0.95
    )
    return EventResponse(FED, replace(found, **changes), changes.get("refusal", ""), 15)


def test_what_followed_is_told_with_its_interval_and_against_how_many():
    slower = Effect(-0.089, -0.121, -0.058, 0.0005, 0.008)
    assert response_text(ENGLISH, response(slower)) == (
        "Its growth rate went from 12.2 to 0.3 % a day, that of 7 others of like size from 17.9 "
        "to 10.8. That is 8.9 (5.8 to 12.1) points a day slower than theirs led to expect."
    )


def test_what_is_not_shown_is_not_claimed():
    told = response_text(ENGLISH, response())
    assert told.endswith("Nothing beyond what the others did is shown (−1.0 to +3.0 points a day).")
    assert "slower" not in told and "faster" not in told and "at once" not in told


def test_a_fall_comes_first_and_leaves_that_stand_up_are_warned_of():
    faster = Effect(0.07, 0.06, 0.08, 0.0001, 0.001)
    fall = Effect(-0.6733, -0.9163, -0.4155, 0.0001, 0.001)
    told = response_text(ENGLISH, response(faster, fall))
    assert told.startswith(
        "Its canopy fell at once by 49\u00a0% (34\u00a0% to 60\u00a0%) beyond that of 7 other "
        "plants."
    )
    assert "7.0 (6.0 to 8.0) points a day faster" in told
    assert told.endswith("Leaves that stand up again count as growth here.")


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (EventResponse(replace(FED, region=""), None, "x", 3), "The whole bench had it"),
        (EventResponse(replace(FED, region="nobody"), None, "x", 3), "No plant is known by"),
        (response(plants=(), refusal="too few"), "it takes 4 measured days before and 4 after"),
        (response(step_others=OTHERS[:3], refusal="x"), "Only 3 other plants were measured"),
        (response(step_others=OTHERS[:1], refusal="x"), "Only 1 other plant was measured"),
    ],
)
def test_refusals_say_why(found, said):
    assert said in response_text(ENGLISH, found)


def test_too_few_of_like_size_are_no_reason_to_be_silent():
    told = response_text(
        ENGLISH, EventResponse(FED, replace(response().response, rate=None), "", 1)
    )
    assert "went from 12.2 to 0.3 % a day; too few plants of like size" in told


def test_a_pause_stands_on_the_day_it_began_beside_the_act(story):
    found = whole_of(story).happenings
    (pause,) = (each for each in found if each.kind == "pause")
    (act,) = (each for each in found if each.act == "potted on")
    assert abs((pause.day - FIRST_DAY).days - PAUSED) <= 1
    assert act.day - FIRST_DAY == timedelta(PAUSED) and act.note == "into 14 cm"
    assert pause.where == "Basil" and pause.path == "plant/basil/index.html"
    assert pause.told.startswith("It stood still for 10 days (")
    day = f"{act.day.day} {act.day:%b}"
    assert f"Shortly before, on {day}, the diary says “potted on”." in pause.told
    assert pause.told.endswith("The other plant did not pause.")
    (ended,) = (each for each in found if each.kind == "goes on")
    assert abs((ended.day - FIRST_DAY).days - GOES_ON) <= 1


def test_a_loss_says_its_share_and_whether_it_was_made_good(story):
    (loss,) = (each for each in whole_of(story).happenings if each.kind == "loss")
    assert loss.day == FIRST_DAY + timedelta(CUT + 1) and loss.where == "Chives"
    share = int(loss.told.split("\u00a0%")[0])
    assert 46 <= share <= 53
    assert "It was back after" in loss.told or "It is not back so far." in loss.told


def test_stage_and_weight_are_read_off_the_note(story):
    found = {each.act: each for each in whole_of(story).happenings}
    assert found["cut"].marks == ("growth stage BBCH 61: flowering",)
    assert found["harvest"].marks == ("weight 1\u202f250 g",)


def test_acts_come_before_what_the_curve_shows_and_routine_last(story):
    of_day = [e for e in whole_of(story).happenings if e.day == FIRST_DAY + timedelta(PAUSED)]
    kinds = [each.kind for each in of_day]
    assert kinds == sorted(kinds, key=["act", "pause", "routine"].index)
    assert kinds[0] == "act" and kinds[-1] == "routine"


def test_the_diary_shows_what_happened_on_the_day_growth_stopped(tiny):
    """The plain path of a follower: the day's anchor, with the act, the plant's page, the day's."""
    build_site(tiny)
    page = (tiny.site / "diary" / "index.html").read_text()
    entry = page.split('id="2031-04-03"')[1].split("</ul>")[0]
    assert "Potted on" in entry and 'href="../plant/basil/index.html"' in entry
    assert 'href="../day/2031-04-03/index.html"' in entry
    assert "into &lt;i&gt;14 cm&lt;/i&gt;" in entry
    assert f'id="{FIRST + timedelta(4)}"' in page, "watered, told in a line"


def test_days_without_a_picture_are_told_and_not_linked(tiny):
    with (tiny.folder / "diary.csv").open("a") as diary:
        diary.write(f"{UNSEEN},,cold,-2 °C\n")
    build_site(tiny)
    page = (tiny.site / "diary" / "index.html").read_text()
    assert "-2 °C" in page and f'href="../day/{UNSEEN}/' not in page


def test_routine_days_on_end_are_one_line(tiny):
    with (tiny.folder / "diary.csv").open("a") as diary:
        diary.writelines(f"{FIRST + timedelta(n)},,watered,\n" for n in (6, 7, 8))
    build_site(tiny)
    page = (tiny.site / "diary" / "index.html").read_text()
    (line,) = (part for part in page.split('<li class="quiet">')[1:] if "2031-04-09" in part)
    days = [f'id="{FIRST + timedelta(n)}"' for n in (8, 7, 6, 4)]
    assert [line.split("</li>")[0].find(day) > 0 for day in days] == [True] * 4


def test_a_season_with_nothing_noted_has_no_diary(tiny):
    (tiny.folder / "diary.csv").unlink()
    build_site(tiny)
    assert not (tiny.site / "diary").exists()
    assert "diary/index.html" not in (tiny.site / "index.html").read_text()
