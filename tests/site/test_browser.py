"""The site in a browser: by picker, by keyboard, without scripts, from a folder."""

from datetime import date
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer

import pytest

from lapsekit.site.build import build_site
from tests.browsing import opened, running
from tests.site.small_season import add_day

pytestmark = pytest.mark.browser


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


@pytest.fixture
def address(tiny, tmp_path):
    """Address of the tiny season's site, in a sub-folder of a web host."""
    build_site(tiny)
    tiny.site.rename(tmp_path / "roof-salad")
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=tmp_path))
    with running(server) as root:
        yield f"{root}roof-salad/"


def drawn(page):
    """The page's first ribbon, once its script has drawn it."""
    page.locator(".ribbon.drawn").first.wait_for()
    return page.locator(".ribbon").first


def test_a_day_is_picked_in_the_ribbon(browser, address):
    with opened(browser, address) as page:
        drawn(page).locator('a[data-day="2031-04-03"]').click()
        page.wait_for_url("**/day/2031-04-03/index.html")
        assert page.locator("h1").inner_text().split() == ["Thursday", "3", "April", "2031"]
        assert drawn(page).locator('a[aria-current="page"]').inner_text() == "3"


def test_the_ribbon_is_one_stop_and_arrows_move_in_it(browser, address):
    with opened(browser, address) as page:
        first = drawn(page)
        assert first.locator('a[tabindex="0"]').count() == 1
        first.locator('a[tabindex="0"]').focus()
        focused = "document.activeElement.dataset.day"
        for key, day in (
            ("ArrowLeft", "2031-04-09"),
            ("Home", "2031-04-01"),
            ("ArrowRight", "2031-04-02"),
            ("PageDown", "2031-04-10"),
            ("End", "2031-04-10"),
        ):
            page.keyboard.press(key)
            assert page.evaluate(focused) == day
        page.keyboard.press("ArrowLeft")
        assert first.locator(".preview").inner_text().startswith("Wednesday, 9 April 2031, day 15")
        page.keyboard.press("Enter")
        page.wait_for_url("**/day/2031-04-09/index.html")


def test_left_and_right_turn_the_day_and_step_over_gaps(browser, address):
    with opened(browser, address) as page:
        page.goto(f"{address}day/2031-04-05/index.html")
        page.keyboard.press("ArrowLeft")
        page.wait_for_url("**/day/2031-04-03/index.html")
        page.keyboard.press("ArrowRight")
        page.wait_for_url("**/day/2031-04-05/index.html")
        page.keyboard.press("ArrowRight")
        page.wait_for_url("**/day/2031-04-07/index.html")


def test_a_date_leads_to_the_nearest_picture(browser, address):
    with opened(browser, address) as page:
        form = drawn(page).locator("form")
        form.locator("input").fill("2031-04-04")
        form.locator("button").click()
        said = page.locator(".ribbon .preview").first.inner_text()
        assert said.startswith("No picture of 4 Apr; the nearest is of Thursday, 3 April 2031.")
        form.locator("button").click()
        page.wait_for_url("**/day/2031-04-03/index.html")


def test_pointing_tells_the_date_and_why_a_day_is_missing(browser, address):
    with opened(browser, address) as page:
        first = drawn(page)
        first.locator('a[data-day="2031-04-02"]').hover()
        assert first.locator(".preview").inner_text() == "Wednesday, 2 April 2031, day 8"
        first.locator(".gap").first.hover()
        assert "no picture (1 dark)" in first.locator(".preview").inner_text()


def test_without_scripts_the_days_can_be_walked(browser, address):
    with opened(browser, address, java_script_enabled=False) as page:
        page.locator(".ribbon .plain a").first.click()
        page.locator('.days a[href*="2031-04-01"]').click()
        for day in ("2031-04-02", "2031-04-03", "2031-04-05"):
            page.locator('a[rel="next"]').click()
            page.wait_for_url(f"**/day/{day}/index.html")
        assert page.locator(".plate img").first.is_visible()


def test_it_works_from_a_folder(browser, tiny):
    build_site(tiny)
    with opened(browser, (tiny.site / "index.html").as_uri()) as page:
        drawn(page).locator('a[data-day="2031-04-03"]').click()
        page.wait_for_url("**/day/2031-04-03/index.html")
        page.keyboard.press("ArrowRight")
        page.wait_for_url("**/day/2031-04-05/index.html")
        assert page.evaluate("document.querySelector('.plate img').naturalWidth") > 0
        assert page.evaluate("document.fonts.check('1em Almanac')")
        assert page.evaluate("getComputedStyle(document.body).maxWidth") != "none"


@pytest.mark.parametrize("width", [360, 1280])
def test_nothing_lies_over_the_links_of_the_menu(browser, address, width):
    hidden = """[...document.querySelectorAll('.masthead a')].filter(a => {
      const r = a.getClientRects()[0];
      return document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2).closest('a') !== a;
    }).map(a => a.textContent)"""
    with opened(browser, address, viewport={"width": width, "height": 740}) as page:
        for path in ("", "day/2031-04-09/", "growth/", "film/"):
            page.goto(f"{address}{path}index.html")
            page.locator(".ribbon.drawn").first.wait_for()
            assert page.evaluate(hidden) == [], path


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_no_page_scrolls_sideways_and_targets_are_large_enough(browser, address, width):
    small = """[...document.querySelectorAll('nav a, button, summary, input')]
      .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
      .filter(([, r]) => r.width && (r.width < 23.9 || r.height < 23.9)).map(([t]) => t)"""
    with opened(browser, address, viewport={"width": width, "height": 740}) as page:
        for path in ("", "day/2031-04-09/", "day/", "growth/", "about/"):
            page.goto(f"{address}{path}index.html")
            if page.locator(".ribbon").count():
                drawn(page)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            assert page.evaluate(small) == [], path


def test_a_long_pause_is_one_break_in_the_ribbon(browser, tiny):
    add_day(tiny, date(2031, 6, 1))
    build_site(tiny)
    with opened(browser, (tiny.site / "index.html").as_uri()) as page:
        breaks = drawn(page).locator("li.wide .gap")
        assert breaks.count() == 1
        said = "11 Apr to 31 May: 51 days without a picture (no frame was taken)"
        assert breaks.get_attribute("title") == said
        assert breaks.inner_text().split("\n")[-1] == "51 days"


def test_nothing_moves_while_it_loads(browser, address):
    shift = """() => new Promise(done => { let sum = 0;
      new PerformanceObserver(l => l.getEntries().forEach(e => sum += e.value))
        .observe({type: 'layout-shift', buffered: true}); setTimeout(() => done(sum), 300) })"""
    with opened(browser, address, viewport={"width": 360, "height": 740}) as page:
        assert page.evaluate(shift) <= 0.05


@pytest.mark.parametrize(
    ("now", "said"),
    [
        ("2031-04-10T21:30:00Z", None),
        ("2031-04-11T21:30:00Z", None),
        ("2031-04-11T22:30:00Z", "The last picture, 2 days ago."),
        ("2031-05-10T12:00:00Z", "The last picture, 30 days ago."),
    ],
)
def test_a_page_that_is_no_longer_made_says_how_old_its_picture_is(browser, address, now, said):
    context = browser.new_context(timezone_id="Pacific/Kiritimati")
    page = context.new_page()
    page.clock.set_fixed_time(now)
    page.goto(address)
    note = page.locator(".old")
    assert page.locator(".sheet .numeral").first.inner_text() == "10"
    assert (note.inner_text() or None) == said
    context.close()
