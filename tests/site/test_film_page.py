"""The film's page: chapters that seek, days told to the ribbon, tracks, reading from a folder."""

import re
import shutil
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.film.making import make_film
from lapsekit.film.records import Films
from lapsekit.season import Season
from lapsekit.serving import open_server
from lapsekit.site.build import build_site
from tests.browsing import opened, running
from tests.film.test_tracks import parsed
from tests.site.made_season import FIRST, TAG, Kind, made

DAYS, DAY_S = 12, 0.25
HOSTILE = f"{TAG} --> \u202eturned\u202c"
DIARY = f"""\
date,region,event,note
{FIRST + timedelta(3)},basil,potted on,
{FIRST + timedelta(3)},,watered,
{FIRST + timedelta(5)},chives,"{HOSTILE}","{"Kresse" * 1700}"
{FIRST + timedelta(6)},,camera,knocked
{FIRST + timedelta(8)},,cold,
{FIRST + timedelta(8)},basil,wilted,
{FIRST + timedelta(90)},,harvest,after the film
"""


FILM = f"""
[film]
frames_per_second = 12
day_seconds = {DAY_S}
short_side_px = 120
[film.cuts.basil-alone]
kind = "region"
regions = ["basil"]
on_site = true
"""


def afterwards():
    """A clock that stands still on a day by which all of the diary has happened."""
    return datetime.combine(FIRST + timedelta(100), datetime.min.time(), UTC)


@pytest.fixture(scope="module")
def filmed(tmp_path_factory):
    """Folder of a season of twelve days with a film of them, four days a second."""
    season = made(tmp_path_factory.mktemp("film") / "season", DAYS, Kind(regions=2, width=320))
    (season.folder / "diary.csv").write_text(DIARY, encoding="utf-8")
    settings = season.folder / "season.toml"
    settings.write_text(settings.read_text() + FILM)
    season.catalogue.close()
    season = Season(season.folder, clock=afterwards)
    make_film(season)
    make_film(season, "basil-alone")
    assert build_site(season).problems == []
    season.catalogue.close()
    return season.folder


@pytest.fixture
def again(filmed, tmp_path):
    """The same season, to be changed."""
    season = Season(shutil.copytree(filmed, tmp_path / "again"), clock=afterwards)
    yield season
    season.catalogue.close()


@pytest.fixture(scope="module")
def address(filmed):
    """The film's page on a web server."""
    with open_server(filmed / "site", 0) as server, running(server) as root:
        yield root


def tracks(folder):
    return sorted(p.name for p in (folder / "site" / "film").glob("*.vtt"))


def until(page, expression):
    """Wait until it holds; asked from outside, since the pages' policy forbids `eval`."""
    for _ in range(200):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"never: {expression}")


def second(number):
    return number * DAY_S


def test_chapters_begin_at_the_first_frame_of_their_day(filmed):
    cues = parsed((filmed / "site" / "film" / "bench-chapters.vtt").read_bytes())
    assert [cue.start_s for cue in cues] == [0, second(3), second(5), second(8)]
    assert cues[-1].end_s == second(DAYS)
    assert cues[0].text == "The film begins, day 7"
    assert cues[1].text.endswith(": Potted on (Basil)")
    assert cues[2].text.endswith(f": {HOSTILE} (Chives)")
    assert cues[3].text.endswith(": Cold; Wilted (Basil)")


def test_captions_tell_every_day_with_age_and_diary(filmed):
    cues = parsed((filmed / "site" / "film" / "bench-captions.vtt").read_bytes())
    assert [cue.start_s for cue in cues] == [second(n) for n in range(DAYS)]
    assert cues[1].text == "Wednesday, 2 April 2031, day 8"
    assert cues[3].text == "Friday, 4 April 2031, day 10; Potted on (Basil)"


def test_a_film_whose_frames_nobody_knows_has_no_chapters(again):
    for name in ("bench", "basil-alone"):
        Films(again).keep(name, Films(again).record(name).unfinished(None))
    build_site(again)
    page = (again.site / "film" / "index.html").read_text()
    assert tracks(again.folder) == [] and "<track" not in page and "Chapters" not in page
    assert 'src="../film/bench.mp4"' in page


def test_a_film_that_may_not_be_shown_has_no_page(again):
    path = Films(again).record("bench").shows[4]
    (again.folder / "verdicts.csv").write_text(f"frame,verdict,note\n{path},no,\n")
    problems = build_site(again).problems
    assert [re.search(r"[\w-]+\.mp4", problem)[0] for problem in problems] == [
        "bench.mp4",
        "basil-alone.mp4",
    ]
    assert not (again.site / "film").exists()
    assert "film/index.html" not in (again.site / "index.html").read_text()


def test_the_pace_is_the_films_own_whatever_settings_say_since(again):
    settings = again.folder / "season.toml"
    text = settings.read_text().replace(f"day_seconds = {DAY_S}", "day_seconds = 3")
    settings.write_text(text)
    build_site(Season(again.folder))
    cues = parsed((again.site / "film" / "bench-chapters.vtt").read_bytes())
    assert cues[-1].end_s == second(DAYS)


def test_cuts_that_are_for_the_site_stand_below_the_season_and_others_do_not(again):
    page = (again.site / "film" / "index.html").read_text()
    assert re.findall(r'<video [^>]*src="../film/([\w-]+)\.mp4" width="(\d+)"', page) == [
        ("bench", "160"),
        ("basil-alone", "120"),
    ]
    assert (again.site / "film" / "basil-alone-poster.jpg").exists()
    settings = again.folder / "season.toml"
    settings.write_text(settings.read_text().replace("on_site = true", ""))
    build_site(Season(again.folder))
    page = (again.site / "film" / "index.html").read_text()
    assert "basil-alone" not in page and not (again.site / "film" / "basil-alone.mp4").exists()


@pytest.mark.browser
class TestInTheBrowser:
    """What a follower does with it."""

    def ready(self, page):
        until(page, "document.querySelector('video').readyState >= 1")
        page.wait_for_selector(".ribbon a[data-day]")

    def test_a_chapter_seeks_and_its_day_is_pointed_at_in_the_ribbon(self, browser, address):
        with opened(browser, address) as page:
            page.goto(f"{address}film/index.html")
            self.ready(page)
            page.locator("button.chapter", has_text="Potted on").first.click()
            day = FIRST + timedelta(3)
            page.wait_for_selector(f'.ribbon li.pointed a[data-day="{day}"]')
            assert page.evaluate("document.querySelector('video').currentTime") == pytest.approx(
                second(3), abs=0.01
            )
            assert page.locator(".film-day").first.inner_text() == "Friday, 4 April 2031"
            current = page.locator(".film-whole").first.locator("button.chapter[aria-current]")
            assert current.count() == 1 and "Potted on" in current.inner_text()

    def test_chapters_are_reached_by_keys(self, browser, address):
        with opened(browser, address) as page:
            page.goto(f"{address}film/index.html")
            self.ready(page)
            page.locator("button.chapter").nth(2).focus()
            page.keyboard.press("Enter")
            until(
                page, f"Math.abs(document.querySelector('video').currentTime - {second(5)}) < 0.01"
            )

    def test_pointing_at_a_day_in_the_ribbon_seeks_a_film_that_stands(self, browser, address):
        with opened(browser, address) as page:
            page.goto(f"{address}film/index.html")
            self.ready(page)
            page.locator(f'.ribbon a[data-day="{FIRST + timedelta(7)}"]').hover()
            until(
                page, f"Math.abs(document.querySelector('video').currentTime - {second(7)}) < 0.01"
            )
            until(page, "document.querySelector('.film-day').textContent.includes('8 April')")

    def test_while_it_plays_the_ribbon_follows_a_few_times_a_second(self, browser, address):
        with opened(browser, address) as page:
            page.goto(f"{address}film/index.html")
            self.ready(page)
            page.evaluate(
                "window.told = []; lapsekit.onChoose((day) => window.told.push(day));"
                "const v = document.querySelector('video'); v.muted = true; v.play()"
            )
            until(page, "document.querySelector('video').ended")
            told = page.evaluate("window.told")
            days = [f"{FIRST + timedelta(n)}" for n in range(DAYS)]
            assert told == sorted(told) and set(told) <= set(days)
            assert 3 <= len(told) <= DAYS and told[-1] == days[-1]

    def test_the_browser_reads_both_tracks(self, browser, address):
        with opened(browser, address) as page:
            page.goto(f"{address}film/index.html")
            self.ready(page)
            found = page.evaluate("""() => Promise.all(
              [...document.querySelector('video').textTracks].map((track) => new Promise((done) => {
                track.mode = 'hidden';
                const ask = () => track.cues && track.cues.length
                  ? done([track.kind, [...track.cues].map((c) => c.getCueAsHTML().textContent)])
                  : setTimeout(ask, 50);
                ask(); })))""")
            kinds = dict(found)
            assert len(kinds["captions"]) == DAYS
            assert any(HOSTILE in text for text in kinds["chapters"])

    def test_without_scripts_chapters_are_a_list_of_times(self, browser, address):
        with opened(browser, address, java_script_enabled=False) as page:
            page.goto(f"{address}film/index.html")
            lines = page.locator(".chapters li").all_inner_texts()
            assert re.split(r"\s+", lines[1])[0] == "0:00.7" and "Potted on" in lines[1]
            assert page.locator(".chapters button").count() == 0
            assert page.locator("video").first.get_attribute("controls") is not None

    def test_from_a_folder_it_plays_and_says_that_captions_need_an_address(self, browser, filmed):
        with opened(browser, f"{(filmed / 'site').as_uri()}/index.html") as page:
            page.goto((filmed / "site" / "film" / "index.html").as_uri())
            self.ready(page)
            assert page.locator(".from-folder").first.is_visible()
            assert page.locator("track").count() == 0
            page.locator("button.chapter", has_text="Cold").first.click()
            page.wait_for_selector(f'.ribbon li.pointed a[data-day="{FIRST + timedelta(8)}"]')

    @pytest.mark.parametrize("width", [360, 1280])
    @pytest.mark.parametrize("path", ["film", "diary", "plant/basil", "about"])
    def test_nothing_is_wider_than_the_page(self, browser, address, width, path):
        size = {"width": width, "height": 740}
        with opened(browser, address, viewport=size) as page:
            page.goto(f"{address}{path}/index.html")
            page.evaluate("document.querySelectorAll('details').forEach((e) => { e.open = true; })")
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            small = """[...document.querySelectorAll('main a, main button, main summary')]
              .filter((e) => !e.closest('p, td, figcaption, .prose li'))
              .map((e) => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
              .filter(([, r]) => r.width && (r.width < 23.9 || r.height < 23.9)).map(([t]) => t)"""
            assert page.evaluate(small) == []
