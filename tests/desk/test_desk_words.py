"""What pages of the desk say of themselves, and where their words lead."""

import re
import shutil
from datetime import UTC, datetime, timedelta

from lapsekit.checking import FINE, WATCH
from lapsekit.checking.finding import Look
from lapsekit.checking.frames import last_frames
from lapsekit.desk.linking import linked
from lapsekit.frames.bringing_in import Stretch, TimeSource, bring_in
from lapsekit.measuring import measure
from lapsekit.season import Season
from tests.axe import findings
from tests.desk.conftest import NOW, PHONE, served
from tests.scenes import bench_picture, encoded, make_season

MADE_BOLD = """() => [...document.querySelectorAll('main *, header *, nav *')].filter((each) => {
    const style = getComputedStyle(each);
    const text = [...each.childNodes].some((part) => part.nodeType === 3 && part.data.trim());
    return text && style.fontFamily.includes('Almanac') && style.fontWeight > 400;
}).map((each) => each.outerHTML.slice(0, 80))"""


def test_a_sentence_that_names_a_table_leads_to_its_form_and_is_escaped():
    told = linked("off <b>; set to_file under [alerts] in season.toml to be called; [no] stays")
    assert told == (
        'off &lt;b&gt;; set <a href="/settings/alerts">“File with the addresses” in the settings'
        "</a> to be called; [no] stays"
    )


def test_advice_that_names_a_command_or_a_text_leads_to_the_page_for_it():
    told = linked("look at lapsekit explain pak-choi 2031-04-05, and draw strokes (colours.csv)")
    assert told == (
        'look at <a href="/growth/plant/pak-choi">“pak-choi” under Growth</a>, and draw strokes '
        '(<a href="/colours/">Colours</a>)'
    )


def test_an_address_that_is_not_there_is_told_in_the_desk_s_own_dress(page):
    answer = page.goto("/nothing/here")
    assert answer.status == 404
    assert page.inner_text("h1") == "There is no such page"
    assert page.locator("nav.menu a", has_text="Today").is_visible()
    page.click("text=To the first page")
    assert page.locator("h1").inner_text() != "There is no such page"


def test_no_letters_are_made_bold_by_the_browser(page):
    """The desk's font has one weight; what is thickened from it looks smeared."""
    for path in ("/", "/diary/", "/growth/", "/colours/", "/followers/", "/setup/camera/bench/"):
        page.goto(path)
        bold = page.evaluate(MADE_BOLD)
        assert bold == [], path


def test_health_leads_to_the_form_for_alerts(page, folder):
    file = folder / "season.toml"
    file.write_text(file.read_text().replace('kind = "files"', 'kind = "usb"'))
    page.goto("/health/")
    page.locator("dd a", has_text="File with the addresses").click()
    assert page.url.endswith("/settings/alerts")
    assert page.get_by_label("File with the addresses").is_visible()


def test_a_last_frame_of_long_ago_is_not_told_as_fine(folder):
    for later, how in ((timedelta(0), FINE), (timedelta(days=187), WATCH)):
        season = Season(folder, lambda later=later: NOW + later)
        (found,) = last_frames(Look(season))
        season.catalogue.close()
        assert found.how == how
        assert ("days ago" in found.told) == (how == WATCH)


def test_an_import_of_a_stretch_counts_what_was_asked_for(tmp_path):
    source = tmp_path / "old"
    source.mkdir()
    for day in range(1, 9):
        content = encoded(bench_picture([], size=(64, 48), seed=day), "JPEG")
        (source / f"203104{day:02}T120000Z.jpg").write_bytes(content)
    season = make_season(tmp_path / "bench")
    counted = []

    def track(items, total, label):
        counted.append(total)
        yield from items

    days = Stretch(datetime(2031, 4, 3).date(), datetime(2031, 4, 4).date())
    times = TimeSource(season.zone, "%Y%m%dT%H%M%S%z")
    told = (source, "bench", times, season.archive, season.catalogue)
    report = bring_in(
        *told, lambda: datetime(2031, 5, 1, tzinfo=UTC), season.day_of, track=track, stretch=days
    )
    season.catalogue.close()
    assert counted == [2] and len(report.stored) == 2 and len(report.of_other_days) == 6


def test_proposals_of_one_day_say_that_more_days_help(browser, tmp_path, folder):
    for day in list((folder / "frames" / "bench").iterdir())[1:]:
        shutil.rmtree(day)
    season = Season(folder)
    season.index()
    season.catalogue.close()
    with served(folder) as address:
        page = browser.new_context(viewport=PHONE, base_url=address).new_page()
        page.goto("/regions/bench/propose")
        page.wait_for_selector("#few", timeout=60_000)
        told = page.inner_text("#few")
        assert told.startswith("Mind: One day is little") or told.startswith("One day is little")
        assert "come back in some days" in told
        assert findings(page) == []
        page.context.close()


def test_plants_that_may_have_met_are_asked_about_beside_their_outline(browser, tmp_path):
    season = make_season(tmp_path / "met")
    (season.folder / "regions.toml").write_text("")
    discs = [(50, 50, 18), (270, 50, 18), (50, 190, 18), (145, 120, 18), (175, 120, 18)]
    picture = encoded(bench_picture(discs))
    season.archive.store("bench", datetime(2031, 4, 1, 9, tzinfo=UTC), picture, ".png")
    season.index()
    season.catalogue.close()
    with served(season.folder) as address:
        page = browser.new_context(viewport=PHONE, base_url=address).new_page()
        page.goto("/regions/bench/propose")
        page.wait_for_selector(".list-of-proposed", timeout=60_000)
        told = [row.inner_text() for row in page.locator(".list-of-proposed li").all()]
        asked = [text for text in told if "It may be two plants that meet, or more" in text]
        assert len(told) == 4 and len(asked) == 1 and "times as far one way" in asked[0]
        assert findings(page) == []
        page.context.close()


WHOLE = """
[[region]]
name = "all"
label = "Whole bench"
camera = "bench"

[[region.outline]]
from = 2031-04-01
"""


def test_the_first_chart_leaves_the_whole_picture_apart_and_leads_to_it(page, folder):
    page.goto("/growth/")
    alone = page.locator(".chart.wide").first.inner_html()
    with (folder / "regions.toml").open("a") as file:
        file.write(WHOLE)
    season = Season(folder)
    measure(season, 1)
    season.catalogue.close()
    page.goto("/growth/")
    assert page.locator(".chart.wide").first.inner_html() == alone
    page.locator("p.hint a", has_text="Whole bench").click()
    assert page.url.endswith("/growth/plant/all")


def test_work_that_runs_says_that_one_may_leave_and_shows_no_empty_box(page):
    page.goto("/health/")
    page.get_by_role("button", name="Ask cameras and far places too").click()
    if page.locator(".work-state", has_text="At work").count():
        assert "the work goes on" in page.locator("main").inner_text()
    page.wait_for_selector("text=Go on", timeout=60_000)
    assert re.search("Done|fault", page.inner_text(".work-state"))
