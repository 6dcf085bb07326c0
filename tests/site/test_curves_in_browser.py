"""The curves in a browser: pointing, keys, scales, gaps, print, without scripts."""

import io
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer

import numpy as np
import pytest
from PIL import Image

from lapsekit.season import Season
from lapsekit.site.build import build_site
from tests.axe import findings
from tests.browsing import opened, running
from tests.site.curve_season import DAYS, UNSEEN, at_its_end, fill
from tests.site.small_season import found

pytestmark = pytest.mark.browser

BASIL = 'article[id="basil"] figure'
LIVE = ".curve-live"


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The site's folder; no test changes it."""
    season: Season = found(tmp_path_factory.mktemp("curves") / "season")
    fill(season)
    season = Season(season.folder, clock=at_its_end)
    build_site(season)
    season.catalogue.close()
    return season.site


@pytest.fixture(scope="module")
def address(site):
    """Where the site answers."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=site))
    with running(server) as root:
        yield root


@pytest.fixture
def growth(browser, address):
    """Opens the growth page; further arguments go to the browser's context."""
    return partial(_growth, browser, address)


class _growth:
    def __init__(self, browser, address, **options):
        self._opened = opened(
            browser, address, **{"viewport": {"width": 1280, "height": 900}} | options
        )
        self._address = address

    def __enter__(self):
        page = self._opened.__enter__()
        page.goto(f"{self._address}growth/index.html")
        return page

    def __exit__(self, *error):
        return self._opened.__exit__(*error)


def ready(page, selector):
    """The figure there once its curve answers."""
    figure = page.locator(selector).first
    figure.scroll_into_view_if_needed()
    page.wait_for_selector(f"{selector}[data-ready]")
    return figure


def point_at(page, figure, number, share=0.5):
    """Point at the day with this number, at a share of the plot's height from the top."""
    figure.scroll_into_view_if_needed()
    box = figure.locator(".u-over").bounding_box()
    x = box["x"] + box["width"] * number / (DAYS - 1)
    page.mouse.move(x, box["y"] + box["height"] * share)


def said(figure):
    return figure.locator(".reading bdi").first.inner_text().replace("\u00a0", " ")


def test_pointing_at_a_day_reads_its_value_with_interval_and_diary(growth):
    with growth() as page:
        figure = ready(page, BASIL)
        point_at(page, figure, 25)
        assert said(figure) == "Basil on 26 Apr: 128 cm² (124 to 132)"
        point_at(page, figure, 9)
        told = figure.locator(".reading").inner_text().replace("\u00a0", " ")
        assert told == "Basil on 10 Apr: 14 cm² (14 to 14) Diary: potted on: into <i>14 cm</i>"


def test_pointing_at_a_gap_says_why_it_is_one(growth):
    with growth() as page:
        figure = ready(page, BASIL)
        point_at(page, figure, 20)
        assert said(figure) == "Basil on 21 Apr: no value (1 dark)"
        assert figure.locator(".curve-dot").is_hidden()
        point_at(page, figure, UNSEEN)
        assert said(figure) == "Basil on 29 Apr: no value (no frame was taken)"


def accent(r, g, b):
    return (r > 120) & (g < 110) & (b < 100)


def dark_accent(r, g, b):
    return (r > 220) & (g > 100) & (g < 160) & (b < 130)


def ink_1(r, g, b):
    return (r < 110) & (g < 100) & (b < 100)


def inked(figure, first, last, match):
    """Rows with such an ink between two shares of the plot's width, in px from its top."""
    plot = figure.locator(".u-over")
    page = figure.page
    page.mouse.move(2, 2)
    figure.scroll_into_view_if_needed()
    box = plot.bounding_box()
    clip = {**box, "height": box["height"] - 2}
    image = np.asarray(Image.open(io.BytesIO(page.screenshot(clip=clip))).convert("RGB"), int)
    width = image.shape[1] - 1
    x0 = round(first * width)
    part = image[:, x0 : max(x0 + 1, round(last * width))]
    return np.flatnonzero(match(*np.moveaxis(part, 2, 0)).any(axis=1)).tolist()


def test_no_line_crosses_a_day_without_a_value(growth):
    with growth() as page:
        figure = ready(page, BASIL)
        day = 1 / (DAYS - 1)
        for gap in (20, UNSEEN):
            assert inked(figure, (gap - 0.5) * day, (gap + 0.5) * day, accent) == []
            assert inked(figure, (gap - 1.9) * day, (gap - 1.1) * day, accent), "but beside it"


def line_height(figure, number):
    """Where the ink of the curve lies on a day, in px from the top of the plot."""
    day = 1 / (DAYS - 1)
    rows = inked(figure, (number - 0.02) * day, (number + 0.02) * day, ink_1)
    assert rows
    return sum(rows) / len(rows)


def test_steady_growth_is_a_straight_line_in_doublings_and_bent_in_even_steps(growth):
    with growth() as page:
        figure = ready(page, "figure.curves:not(.one)")
        figure.locator('[data-plant="dill"]').click()
        figure.locator("[data-scale=even]").focus()

        def bend():
            a, b, c = (line_height(figure, number) for number in (6, 18, 30))
            return abs(b - (a + c) / 2)

        assert bend() > 20
        figure.locator("[data-scale=doubling]").click()
        assert bend() < 2


def test_by_plant_age_each_plant_begins_at_its_own_sowing(growth):
    with growth() as page:
        figure = ready(page, "figure.curves:not(.one)")
        figure.locator("[data-axis=age]").click()
        # Basil was sown seven days before the first frame, dill on that day: 0 to 46 days.
        figure.locator('[data-plant="basil"]').click()
        box = figure.locator(".u-over").bounding_box()
        for age, day in ((0, "1 Apr"), (39, "10 May")):
            figure.scroll_into_view_if_needed()
            box = figure.locator(".u-over").bounding_box()
            page.mouse.move(box["x"] + box["width"] * age / 46, box["y"] + 100)
            assert f" on {day}: " in figure.locator(".reading").inner_text()


def test_keys_move_the_day_and_the_plant_and_open_the_day(growth):
    with growth() as page:
        figure = ready(page, "figure.curves:not(.one)")
        live = figure.locator(LIVE)
        live.focus()
        spoken = lambda: live.get_attribute("aria-valuetext").replace("\u00a0", " ")  # noqa: E731
        for key, start in (
            ("ArrowDown", "Basil on 10 May: 891 cm²"),
            ("Home", "Basil on 1 Apr: 4.0 cm² (3.9 to 4.1)"),
            ("ArrowRight", "Basil on 2 Apr: 4.6 cm²"),
            ("PageDown", "Basil on 9 Apr: 12 cm²"),
            ("ArrowDown", "Dill <img src=x onerror=alert(3)> \u202eesrever on 9 Apr: 34 cm²"),
            ("End", "Dill <img src=x onerror=alert(3)> \u202eesrever on 10 May: 127 cm²"),
            ("ArrowUp", "Basil on 10 May: 891 cm²"),
            ("ArrowLeft", "Basil on 9 May: 776 cm²"),
        ):
            page.keyboard.press(key)
            assert spoken().startswith(start), key
        page.keyboard.press("Home")
        page.keyboard.press("Enter")
        page.wait_for_url("**/day/2031-04-01/index.html")


def test_a_click_opens_the_day_that_has_a_page_and_no_other(growth):
    with growth() as page:
        figure = ready(page, BASIL)
        point_at(page, figure, 30)
        page.mouse.down()
        page.mouse.up()
        assert page.url.endswith("growth/index.html")
        point_at(page, figure, 1)
        page.mouse.down()
        page.mouse.up()
        page.wait_for_url("**/day/2031-04-02/index.html")


def test_curve_and_whatever_else_shows_the_season_point_together(growth):
    with growth() as page:
        figure, other = ready(page, BASIL), ready(page, 'article[id="dill"] figure')
        page.evaluate("() => { window.heard = []; lapsekit.onChoose((day) => heard.push(day)); }")
        page.evaluate("lapsekit.choose('2031-04-26', null)")
        assert said(figure).startswith("Basil on 26 Apr: 128 cm²")
        place = "e => new DOMMatrix(getComputedStyle(e).transform).e / e.parentElement.clientWidth"
        assert figure.locator(".curve-cursor").evaluate(place) == pytest.approx(25 / 39, abs=0.01)
        point_at(page, figure, 12)
        assert page.evaluate("heard[heard.length - 1]") == "2031-04-13"
        assert " on 13 Apr: " in said(other)
        page.mouse.move(2, 2)
        assert page.evaluate("heard[heard.length - 1]") is None
        assert other.locator(".curve-cursor").is_hidden()


def test_a_finger_moves_the_cursor_and_does_not_open_a_page(growth):
    with growth(has_touch=True, viewport={"width": 360, "height": 740}) as page:
        figure = ready(page, BASIL)
        box = figure.locator(".u-over").bounding_box()
        page.touchscreen.tap(box["x"] + box["width"] * 25 / 39, box["y"] + 40)
        assert said(figure).startswith("Basil on 26 Apr: 128 cm²")
        page.touchscreen.tap(box["x"] + 1, box["y"] + 40)
        assert said(figure).startswith("Basil on 1 Apr")
        assert page.url.endswith("growth/index.html")
        assert figure.locator(LIVE).evaluate("e => getComputedStyle(e).touchAction") == "pan-y"


def test_a_plant_can_be_put_aside(growth):
    with growth() as page:
        figure = ready(page, "figure.curves:not(.one)")
        button = figure.locator('[data-plant="basil"]')
        button.click()
        assert button.get_attribute("aria-pressed") == "false"
        point_at(page, figure, 30, 0.3)
        assert said(figure).startswith("Dill")
        button.click()
        assert button.get_attribute("aria-pressed") == "true"
        point_at(page, figure, 39, 0.05)
        assert said(figure).startswith("Basil")


def test_without_scripts_the_pictures_stand_for_the_curves(growth):
    with growth(java_script_enabled=False) as page:
        first = page.locator("figure.curves").first
        assert first.locator("svg.wide").first.is_visible()
        assert page.locator(f"{BASIL} svg.panel").is_visible()
        assert first.locator("button").first.is_hidden()
        first.locator("figcaption a[href*=values]").click()
        assert page.locator("figure.curves svg.wide").first.is_visible(), "the other scale, drawn"
        assert page.locator("table.numbers tbody tr").count() > 30, "every value"


@pytest.mark.parametrize("series", ["[]", "null"])
def test_a_chart_whose_plants_the_data_lack_stays_the_picture_that_it_is(growth, series):
    with growth() as page:
        told = f"lapsekit.curves = {{days: [], pages: [], events: [], series: {series}}};"
        script = {"body": told, "content_type": "text/javascript"}
        page.route("**/data/curves.js*", lambda route: route.fulfill(**script))
        page.reload()
        page.locator(BASIL).scroll_into_view_if_needed()
        page.wait_for_function(f"() => !document.querySelector('{BASIL} {LIVE}')")
        assert page.locator(f"{BASIL} svg.panel").is_visible()


LEFT_OUT = """chart => [...chart.querySelectorAll("text")].map((text) => [
    text.textContent, text.getBoundingClientRect().left - chart.getBoundingClientRect().left,
]).filter(([, beyond]) => beyond < 0)"""
ROOM = """box => {
    const letters = document.createElement("canvas").getContext("2d");
    letters.font = `15px ${getComputedStyle(box).fontFamily}`;
    const room = box.querySelector(".u-over").getBoundingClientRect().left;
    const widest = letters.measureText(lapsekit.number(1000, 0)).width;
    return room - box.getBoundingClientRect().left - widest;
}"""


@pytest.mark.parametrize("width", [390, 1280])
def test_no_level_is_cut_off_at_the_left(growth, width):
    """Basil's axis ends at 1 000 cm², four figures and a gap between them."""
    with growth(viewport={"width": width, "height": 900}, java_script_enabled=False) as page:
        charts = page.locator(".chart:visible").all()
        assert any("1\u202f000" in chart.text_content() for chart in charts)
        assert [chart.evaluate(LEFT_OUT) for chart in charts] == [[]] * len(charts)
    with growth(viewport={"width": width, "height": 900}) as page:
        for selector in ("figure.curves", BASIL):
            assert ready(page, selector).locator(LIVE).evaluate(ROOM) >= 6


def test_in_print_the_pictures_stand_for_the_curves(growth):
    with growth() as page:
        figure = ready(page, BASIL)
        assert figure.locator("svg").is_hidden() and figure.locator(LIVE).is_visible()
        page.emulate_media(media="print")
        assert figure.locator("svg").is_visible() and figure.locator(LIVE).is_hidden()


def test_the_curve_takes_the_place_of_its_picture_without_a_shift(growth):
    shift = """() => new Promise(done => { let sum = 0;
      new PerformanceObserver(l => l.getEntries().forEach(e => sum += e.value))
        .observe({type: 'layout-shift', buffered: true}); setTimeout(() => done(sum), 300) })"""
    for width in (360, 1280):
        with growth(viewport={"width": width, "height": 740}) as page:
            ready(page, "figure.curves:not(.one)")
            assert page.evaluate(shift) <= 0.01


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1280, "light")])
def test_axe_finds_nothing_on_the_growth_page(growth, width, scheme):
    with growth(viewport={"width": width, "height": 740}, color_scheme=scheme) as page:
        ready(page, "figure.curves:not(.one)")
        for details in page.locator("details").all():
            details.evaluate("e => { e.open = true }")
        ready(page, BASIL).locator(LIVE).focus()
        assert findings(page) == []


def test_axe_finds_nothing_without_uplot(growth, browser):
    with growth() as page:
        assert findings(page) == []


def test_hostile_names_stay_text(growth):
    with growth() as page:
        figure = ready(page, "figure.curves:not(.one)")
        assert page.locator('article[id="dill"] h3').inner_text().startswith("Dill <img src=x")
        label = figure.locator('[data-plant="dill"] bdi').inner_text()
        assert label.startswith("Dill <img src=x")
        point_at(page, figure, 9)
        read = figure.locator(".reading")
        assert page.locator("[onerror]").count() == 0
        note = ready(page, BASIL)
        point_at(page, note, 9)
        assert "into <i>14 cm</i>" in note.locator(".reading").inner_text()
        assert read.locator("i, img").count() == note.locator(".reading :is(i, img)").count() == 0


def test_dark_and_light_repaint_the_curve(growth):
    with growth(color_scheme="light") as page:
        figure = ready(page, BASIL)
        assert inked(figure, 0.3, 0.35, accent)
        assert not inked(figure, 0.3, 0.35, dark_accent)
        page.emulate_media(color_scheme="dark")
        page.wait_for_timeout(100)
        assert inked(figure, 0.3, 0.35, dark_accent)


def test_from_a_folder_the_curves_answer_too(browser, site):
    start = (site / "index.html").as_uri()
    with opened(browser, start, viewport={"width": 1280, "height": 900}) as page:
        page.goto((site / "growth" / "index.html").as_uri())
        figure = ready(page, BASIL)
        point_at(page, figure, 25)
        assert said(figure) == "Basil on 26 Apr: 128 cm² (124 to 132)"
