"""Two days held together, in a browser: pots stay put, every view by pointer and by keys."""

import shutil
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer

import cv2
import numpy as np
import pytest

from lapsekit.site.build import build_site
from tests.browsing import opened, running
from tests.site import knocked_season
from tests.site.knocked_season import BOX, KNOCKS, MARKS, VIEW
from tests.site.small_season import FIRST, add_day, found

pytestmark = pytest.mark.browser

DESK = {"viewport": {"width": 1280, "height": 900}}
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
SETTLED = """() => { const stage = document.querySelector('.two-stage');
  return stage.dataset.over && !stage.hasAttribute('aria-busy'); }"""


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The site of a season whose pictures are known, as a folder; no test changes it."""
    season = found(tmp_path_factory.mktemp("two") / "season")
    for number in range(10):
        add_day(season, FIRST + timedelta(days=number))
    build_site(season)
    season.catalogue.close()
    knocked_season.write(season.site)
    return season.site


@pytest.fixture(scope="module")
def address(site):
    """Its address."""
    with served(site) as address:
        yield address


@contextmanager
def served(site):
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=site.parent))
    with running(server) as root:
        yield f"{root}{site.name}/"


def held(browser, address, fragment="", **options):
    """The page, once both pictures stand there."""
    return _Held(browser, f"{address}two/index.html{fragment}", options or DESK)


class _Held:
    def __init__(self, browser, start, options):
        self._opened = opened(browser, start.split("two/")[0] + "index.html", **options)
        self._start = start

    def __enter__(self):
        page = self._opened.__enter__()
        page.goto(self._start)
        settle(page)
        return page

    def __exit__(self, *error):
        return self._opened.__exit__(*error)


def settle(page):
    """Wait until what was asked for stands there."""
    page.wait_for_function(SETTLED)


def stage_pixels(page):
    data = page.locator(".two-stage").screenshot()
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)


def marks_seen(page, box=(0, 0, 1, 1)):
    """Where the marks are seen, in shares of the reference view, and how many px that view has."""
    page.locator(".two-stage").scroll_into_view_if_needed()
    pixels = cv2.imdecode(np.frombuffer(page.screenshot(), np.uint8), cv2.IMREAD_COLOR)
    place = page.locator(".two-pane").first.evaluate(
        "pane => { const r = pane.getBoundingClientRect(); return [r.x, r.y, r.width, r.height]; }"
    )
    corner, size = np.array(place[:2]), np.array(place[2:])
    left, top = np.ceil(corner).astype(int)
    right, bottom = np.floor(corner + size).astype(int)
    white = np.zeros(pixels.shape[:2], np.uint8)
    tags = 45
    white[top + tags : bottom, left:right] = pixels[top + tags : bottom, left:right].min(2) > 200
    _, _, stats, middles = cv2.connectedComponentsWithStats(white)
    middles = middles[1:][stats[1:, cv2.CC_STAT_AREA] > 80]
    shares = (middles + 0.5 - corner) / size * box[2:] + box[:2]
    return shares, size / box[2:]


def truth(box=(0, 0, 1, 1)):
    shares = (np.array(MARKS) + 0.5) / VIEW
    low, high = np.array(box[:2]), np.array(box[:2]) + box[2:]
    return shares[((shares > low) & (shares < high)).all(1)]


def only(page, side):
    """Show one of two blinking days, still."""
    page.wait_for_timeout(400)
    if page.locator(".two-stage").get_attribute("data-over") != side:
        page.locator(".two-flip").click()
    assert page.locator(".two-stage").get_attribute("data-over") == side


@pytest.mark.parametrize("day", ["2031-04-09", "2031-04-10"])
@pytest.mark.parametrize(("region", "box"), [("", (0, 0, 1, 1)), ("/basil", BOX)])
def test_marks_stay_put_within_a_pixel_across_a_knock(browser, address, day, region, box):
    fragment = f"#2031-04-01/{day}{region}/view=blink"
    with held(browser, address, fragment, **DESK, reduced_motion="reduce") as page:
        for side in ("first", "second"):
            only(page, side)
            seen, px = marks_seen(page, box)
            expected = truth(box)
            assert len(seen) == len(expected) > 0
            away = np.linalg.norm((seen[:, None] - expected[None]) * px, axis=2)
            assert away.min(1).max() < 1.0, (side, away.min(1))


def test_without_its_turn_a_knocked_picture_would_be_seen_to_move(browser, site, tmp_path):
    copy = shutil.copytree(site, tmp_path / "site")
    data = copy / "data" / "season.js"
    data.write_text(data.read_text().replace('"turn": [', '"turn": null, "was": ['))
    fragment = "#2031-04-01/2031-04-09/view=blink"
    still = {**DESK, "reduced_motion": "reduce"}
    with served(copy) as address, held(browser, address, fragment, **still) as page:
        only(page, "second")
        seen, px = marks_seen(page)
        away = np.linalg.norm((seen[:, None] - truth()[None]) * px, axis=2)
        assert away.min(1).max() > 5


def test_css_carries_a_homography_from_shares_to_pixels(browser, address):
    view = {"left": -300.0, "top": -120.0, "width": 1600.0, "height": 1200.0}
    asked = """([turn, size, view, x, y]) => {
      const css = lapsekit.turning.cssOf(lapsekit.turning.matrixOf(turn, size, view));
      const p = new DOMMatrix(css).transformPoint(new DOMPoint(x, y));
      return [p.x / p.w, p.y / p.w]; }"""
    with held(browser, address) as page:
        for matrix, (wide, high) in KNOCKS.values():
            turn = knocked_season.turn(matrix, (wide, high))
            for x, y in ((0.0, 0.0), (wide, 0.0), (wide / 3, high), (wide, high)):
                there = np.array(turn).reshape(3, 3) @ (x / wide, y / high, 1)
                expected = there[:2] / there[2] * (1600, 1200) + (-300, -120)
                size = {"width": wide, "height": high}
                seen = page.evaluate(asked, [turn, size, view, x, y])
                assert np.allclose(seen, expected, atol=0.01)


def test_a_picture_of_another_shape_that_was_never_turned_keeps_its_own(browser, address):
    asked = """(size) => lapsekit.turning.matrixOf(null, size,
      {left: 0, top: 0, width: 400, height: 300})"""
    with held(browser, address) as page:
        tall = page.evaluate(asked, {"width": 300, "height": 600})
        same = page.evaluate(asked, {"width": 800, "height": 600})
    assert np.allclose(tall, [0.5, 0, 125, 0, 0.5, 0, 0, 0, 1])
    assert np.allclose(same, [0.5, 0, 0, 0, 0.5, 0, 0, 0, 1])


def test_the_wipe_is_a_slider_by_keys(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-10") as page:
        handle = page.get_by_role("slider", name="Where the two days meet")
        assert handle.get_attribute("aria-valuetext") == "50 % of the width shows the first day"
        handle.focus()
        for key, value in (
            ("ArrowRight", "52"),
            ("ArrowLeft", "50"),
            ("PageDown", "40"),
            ("End", "100"),
            ("ArrowRight", "100"),
            ("Home", "0"),
        ):
            page.keyboard.press(key)
            assert handle.get_attribute("aria-valuenow") == value, key


def _halves(page):
    """Colours of the stage at a quarter and at three quarters of its width."""
    pixels = stage_pixels(page)
    height, width = pixels.shape[:2]
    return [pixels[height // 4, width * k // 8].astype(int) for k in (2, 6)]


def _is_first(colour):
    return colour[2] > 100 and colour[0] < 80


def test_left_of_the_line_is_the_first_day_and_right_of_it_the_second(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-10") as page:
        assert [_is_first(colour) for colour in _halves(page)] == [True, False]
        stage = page.locator(".two-stage").bounding_box()
        y = stage["y"] + stage["height"] / 3
        page.mouse.move(stage["x"] + stage["width"] * 0.5, y)
        page.mouse.down()
        page.mouse.move(stage["x"] + stage["width"] * 0.9, y, steps=4)
        page.mouse.up()
        assert [_is_first(colour) for colour in _halves(page)] == [True, True]
        page.mouse.move(stage["x"] + stage["width"] * 0.2, y)
        now = page.locator(".two-handle").get_attribute("aria-valuenow")
        assert now == "90"


def test_the_line_follows_a_finger(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-10", **PHONE) as page:
        stage = page.locator(".two-stage").bounding_box()
        touch = page.context.new_cdp_session(page)
        y = stage["y"] + stage["height"] / 2

        def finger(kind, share):
            points = [] if share is None else [{"x": stage["x"] + stage["width"] * share, "y": y}]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        finger("touchStart", 0.5)
        for share in (0.45, 0.4, 0.3, 0.2):
            finger("touchMove", share)
        finger("touchEnd", None)
        assert page.locator(".two-handle").get_attribute("aria-valuenow") == "20"


WATCH = """() => { window.changes = []; const stage = document.querySelector('.two-stage');
  new MutationObserver(() => changes.push(performance.now()))
    .observe(stage, {attributes: true, attributeFilter: ['data-over']}) }"""


def test_pictures_blink_once_a_second_and_stop_when_told(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-10/view=blink") as page:
        page.evaluate(WATCH)
        page.wait_for_timeout(3300)
        changes = page.evaluate("changes")
        assert len(changes) >= 3
        assert np.diff(changes).min() > 800
        assert np.median(np.diff(changes)) == pytest.approx(1000, abs=150)
        assert page.locator(".two-said").inner_text().endswith("by turns.")
        page.locator(".two-play").click()
        page.wait_for_timeout(1300)
        stopped = len(page.evaluate("changes"))
        page.wait_for_timeout(1300)
        assert len(page.evaluate("changes")) == stopped
        assert page.locator(".two-said").inner_text().startswith("Still: ")
        page.locator("h1").click()
        page.keyboard.press("Space")
        page.wait_for_timeout(1300)
        assert len(page.evaluate("changes")) > stopped
        page.keyboard.press("Space")
        assert page.locator(".two-play").inner_text() == "Start"


def test_where_motion_is_unwanted_blinking_waits_to_be_started(browser, address):
    fragment = "#2031-04-01/2031-04-10/view=blink"
    with held(browser, address, fragment, **DESK, reduced_motion="reduce") as page:
        page.evaluate(WATCH)
        page.wait_for_timeout(1500)
        assert page.evaluate("changes") == []
        page.locator(".two-play").click()
        page.wait_for_timeout(1500)
        assert len(page.evaluate("changes")) == 1


def test_a_key_held_down_cannot_make_three_flashes_in_a_second(browser, address):
    fragment = "#2031-04-01/2031-04-10/view=blink"
    with held(browser, address, fragment, **DESK, reduced_motion="reduce") as page:
        page.clock.install()
        page.evaluate(WATCH)
        page.locator(".two-flip").focus()
        for _ in range(60):
            page.keyboard.down("Enter")
            page.clock.run_for(25)
        changes = page.evaluate("changes")
        assert len(changes) > 1
        assert np.diff(changes).min() > 334


def test_an_address_says_what_is_held_together(browser, address):
    with held(browser, address, "#2031-04-02/2031-04-09/basil/view=side") as page:
        assert page.locator(".two-date .numeral").all_inner_texts() == ["2", "9"]
        assert page.locator(".two-region select").input_value() == "basil"
        assert page.locator(".two-stage").get_attribute("data-view") == "side"
        page.locator('.two-fields[data-side="first"] .two-before').click()
        assert page.url.endswith("#2031-04-01/2031-04-09/basil/view=side")
        page.evaluate("location.hash = '#2031-04-03/latest'")
        settle(page)
        assert page.locator(".two-date .numeral").all_inner_texts() == ["3", "10"]


@pytest.mark.parametrize(
    "fragment", ["", "#", "#nonsense", "#2031-02-31/x/nobody/view=upside-down", "#%E0%A4%A"]
)
def test_an_address_that_says_nothing_shows_the_latest_against_a_week_before(
    browser, address, fragment
):
    with held(browser, address, fragment) as page:
        assert page.locator(".two-date .numeral").all_inner_texts() == ["3", "10"]
        assert page.locator(".two-stage").get_attribute("data-view") == "wipe"


def test_a_day_without_a_picture_says_why_and_offers_the_nearest(browser, address):
    with held(browser, address, "#2031-04-04/2031-04-10") as page:
        note = page.locator('.two-fields[data-side="first"] .two-missing')
        assert note.inner_text().startswith("No picture on Friday, 4 April 2031: 1 dark. Nearest:")
        assert note.locator("button").all_inner_texts() == ["3 Apr", "5 Apr"]
        assert page.locator('.two-pane[data-side="first"] img').count() == 0
        assert "4 April 2031, day 10 (no picture)" in page.locator(".two-said").inner_text()
        pane, stage = (
            page.locator(place).bounding_box()
            for place in ('.two-pane[data-side="first"]', ".two-stage")
        )
        assert pane == stage
        note.locator("button").first.click()
        settle(page)
        assert page.locator('.two-pane[data-side="first"] img').count() == 1
        assert note.inner_text() == ""


def test_days_are_chosen_by_arrow_keys_flags_and_fields(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-05") as page:
        numerals = page.locator(".two-date .numeral")
        for key, days in (
            ("ArrowRight", ["1", "7"]),
            ("ArrowLeft", ["1", "5"]),
            ("ArrowLeft", ["1", "3"]),
            ("Shift+ArrowRight", ["2", "3"]),
        ):
            page.keyboard.press(key)
            assert numerals.all_inner_texts() == days
        flag = page.get_by_role("slider", name="Second day")
        flag.focus()
        page.keyboard.press("End")
        assert numerals.all_inner_texts() == ["2", "10"]
        assert flag.get_attribute("aria-valuetext") == "Thursday, 10 April 2031, day 16"
        page.locator('.two-fields[data-side="first"] input').fill("2031-04-08")
        assert numerals.all_inner_texts() == ["8", "10"]
        settle(page)
        said = page.locator(".two-said").inner_text()
        assert said == (
            "Left of the line Tuesday, 8 April 2031, day 14; "
            "right of it Thursday, 10 April 2031, day 16."
        )


def test_a_flag_is_dragged_along_the_season(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-10") as page:
        page.locator(".two-both").scroll_into_view_if_needed()
        band = page.locator(".two-band").bounding_box()
        flag = page.locator(".two-flag.second").bounding_box()
        page.mouse.move(flag["x"] + 20, flag["y"] + 10)
        page.mouse.down()
        page.mouse.move(band["x"] + band["width"] * 0.65, band["y"] + 10, steps=5)
        page.mouse.up()
        assert page.locator(".two-date .numeral").all_inner_texts() == ["1", "7"]


def test_only_what_is_shown_is_loaded_and_a_closer_look_asks_for_more(browser, address):
    asked = []
    small = {"viewport": {"width": 360, "height": 740}}
    with held(browser, address, "#2031-04-01/2031-04-02", **small) as page:
        page.on("request", lambda request: asked.append(request.url.rsplit("/", 1)[1]))
        page.reload()
        settle(page)
        pictures = [name for name in asked if name.endswith((".webp", ".jpg"))]
        assert sorted(pictures) == [f"2031-04-0{n}-0123456789ab-400.webp" for n in (1, 2)]
        page.locator(".two-region select").select_option("basil")
        settle(page)
        assert "2031-04-01-0123456789ab-800.webp" in asked
        assert page.locator(".two-said").inner_text().startswith("Basil <img")


def test_the_old_picture_stands_until_the_next_is_there_whole(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-10") as page:
        waiting = []
        page.route("**/2031-04-09-*", lambda route: waiting.append(route))
        page.keyboard.press("ArrowLeft")
        page.wait_for_timeout(300)
        tag = page.locator('.two-pane[data-side="second"] .two-tag')
        assert page.locator(".two-stage").get_attribute("aria-busy") == "true"
        assert tag.inner_text() == "10 Apr"
        assert "2031-04-10" in page.locator('.two-pane[data-side="second"] img').get_attribute(
            "src"
        )
        waiting[0].continue_()
        settle(page)
        assert tag.inner_text() == "9 Apr"


def test_what_grew_is_said_with_intervals_and_how_many_times(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-09") as page:
        rows = page.locator(".two-rows li")
        rows.first.wait_for()
        assert [" ".join(text.split()) for text in rows.all_inner_texts()] == [
            "× 3.0 Basil <img src=x onerror=alert(2)> 3.0 times. "
            "10 cm² (9.0 to 11) on 1 Apr, 30 cm² (28 to 32) on 9 Apr.",
            "× 1.04 Chard 1.04 times. 100 cm² (90 to 110) on 1 Apr, "
            "104 cm² (95 to 113) on 9 Apr. The intervals overlap: perhaps it did not change.",
        ]
        page.evaluate("location.hash = '#2031-04-09/2031-04-03/chard'")
        told = page.locator(".two-rows li").filter(has_text="there is no value for 3 Apr")
        told.wait_for()
        assert rows.count() == 1


def test_groups_of_two_cameras_that_are_called_the_same_are_held_apart(browser, address):
    """Two pots of salad below each camera, each pair with its mean, and a third pot by itself."""
    asked = """(camera) => {
      const one = (name, camera, mean_of, title) => ({name, camera, mean_of, title, group: "salad",
        unit: "cm²", low: [1, 2], value: [2, 4], high: [3, 6]});
      const means = ["bench", "trough"].map((each) => one(`salad of ${each}`, each, 2, each));
      const pots = ["bench", "trough"].map((each) => one(`pot-${each}`, each, 0, `pot ${each}`));
      const alone = {...one("alone", "shelf", 0, "alone")};
      lapsekit.curves = {days: ["2031-04-01", "2031-04-02"], series: [...means, ...pots, alone]};
      lapsekit.season.regions = [...pots, alone];
      const place = document.createElement("div");
      const days = {first: "2031-04-01", second: "2031-04-02"};
      lapsekit.twoGrowth.fill(place, {...days, camera, region: null});
      return [...place.querySelectorAll("li bdi")].map((each) => each.textContent);
    }"""
    with held(browser, address) as page:
        page.locator(".two-rows li").first.wait_for()
        shown = {each: page.evaluate(asked, each) for each in ("bench", "trough", "shelf")}
    assert shown == {"bench": ["bench"], "trough": ["trough"], "shelf": ["alone"]}


def test_a_picture_that_is_asked_for_no_more_clears_nothing_when_it_fails(browser, address):
    asked = """async () => {
      const element = document.querySelector('.two-pane[data-side="first"]');
      const pane = lapsekit.pane(element);
      const reference = lapsekit.season.cameras[0];
      const {kinds, ...day} = reference.days["2031-04-01"];
      const ask = (picture) => pane.show(
        {picture, kinds: ["webp", "jpg"], box: null, reference, alt: "", label: ""});
      const late = ask({...day, stem: "none"}).catch(() => "failed");
      const now = await ask(day);
      return [await late, now, pane.has(), await ask({...day, stem: "x"}).catch(() => "failed")];
    }"""
    with held(browser, address) as page:
        page.route("**/none-*", lambda route: route.fulfill(body="no picture"))
        page.route("**/x-*", lambda route: route.fulfill(body="no picture"))
        assert page.evaluate(asked) == [False, True, True, "failed"]


def test_the_small_ribbon_is_of_the_kind_that_the_camera_has(browser, address):
    asked = """() => {
      const element = document.createElement("div");
      const strip = {stem: "pictures/strip", days: ["2031-04-01", "2031-04-02"]};
      const days = Object.fromEntries(strip.days.map((day) => [day, {}]));
      const camera = {days, strips: [strip], kinds: ["webp", "jpg"]};
      lapsekit.twoStrip(element, () => {}).draw(camera);
      const {type, srcset} = element.querySelector("source");
      return [type, srcset.slice(lapsekit.root.length)];
    }"""
    with held(browser, address) as page:
        page.route("**/pictures/strip*", lambda route: route.fulfill(body=""))
        assert page.evaluate(asked) == ["image/webp", "pictures/strip.webp"]


def test_another_camera_can_be_chosen(browser, address):
    with held(browser, address) as page:
        page.locator(".two-camera select").select_option("trough")
        settle(page)
        assert page.locator(".two-date .numeral").all_inner_texts() == ["3", "10"]
        assert (
            "Nearest:" in page.locator('.two-fields[data-side="first"] .two-missing').inner_text()
        )
        assert page.locator(".two-region option").all_inner_texts() == ["The whole view", "Cress"]
        page.evaluate("location.hash = '#2031-04-02/2031-04-05/camera=trough'")
        settle(page)
        assert "/trough/" in page.locator(".two-pane img").first.get_attribute("src")


def test_on_paper_they_stand_side_by_side(browser, address):
    with held(browser, address, "#2031-04-01/2031-04-10/view=blink") as page:
        page.emulate_media(media="print")
        page.wait_for_timeout(200)
        left, right = [pane.bounding_box() for pane in page.locator(".two-pane").all()]
        assert left["y"] == right["y"]
        assert left["x"] + left["width"] < right["x"]
        assert right["x"] + right["width"] - left["x"] < 680  # a sheet less its margins
        assert not page.locator(".two-tools").is_visible()
        assert ", beside " in page.locator(".two-said").inner_text()
        expected = truth()[0] * (left["width"], left["height"])
        pixels = stage_pixels(page)
        assert pixels[int(expected[1]), int(expected[0])].min() > 200


def test_without_scripts_the_page_says_so_and_leads_to_the_days(browser, address):
    with opened(browser, address, java_script_enabled=False) as page:
        page.goto(f"{address}two/index.html")
        assert "scripts are off" in page.locator("noscript p").inner_text()
        assert not page.locator(".two").is_visible()
        page.get_by_role("link", name="all days", exact=True).click()
        page.wait_for_url("**/day/index.html")


def test_two_days_are_held_together_from_a_folder(browser, site):
    with opened(browser, (site / "index.html").as_uri()) as page:
        page.goto(f"{(site / 'two' / 'index.html').as_uri()}#2031-04-01/2031-04-10/basil")
        settle(page)
        assert page.locator(".two-pane img").count() == 2
        page.locator(".two-rows li").first.wait_for()
        page.keyboard.press("ArrowLeft")
        settle(page)
        assert page.url.endswith("#2031-04-01/2031-04-09/basil")


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("view", ["wipe", "blink", "side"])
def test_it_fits_every_screen_and_targets_are_large_enough(browser, address, width, view):
    small = """[...document.querySelectorAll('.two button, .two select, .two input, [role=slider]')]
      .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
      .filter(([, r]) => r.width && (r.width < 23.9 || r.height < 23.9)).map(([t]) => t)"""
    options = {"viewport": {"width": width, "height": 740}}
    fragment = f"#2031-04-04/2031-04-10/basil/view={view}"
    with held(browser, address, fragment, **options) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(small) == []


def test_a_season_as_it_is_built_is_held_together(browser, tiny):
    build_site(tiny)
    with served(tiny.site) as address, held(browser, address, "#2031-04-03/2031-04-10") as page:
        assert page.locator(".two-pane img").count() == 2
        wide = "img => img.naturalWidth"
        assert page.locator(".two-pane img").first.evaluate(wide) == 320
        assert page.locator(".two-slices").count() > 0
        page.locator(".two-rows li").first.wait_for()
        assert page.locator(".two-region option").count() == 2


def test_a_season_with_one_picture_says_that_there_are_not_two(empty):
    add_day(empty, FIRST)
    build_site(empty)
    page = (empty.site / "two" / "index.html").read_text()
    assert "There are not yet two days with a picture." in page
    assert "two.js" not in page
