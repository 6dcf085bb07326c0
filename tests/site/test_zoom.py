"""A picture at its full size, in a browser: by keyboard, pointer and wheel, from a folder."""

import io
from datetime import UTC, date, datetime

import numpy as np
import pytest
from PIL import Image

from lapsekit.catalogue import Frame, Screening
from lapsekit.frames.archive import content_hash
from lapsekit.site import pictures
from lapsekit.site.build import build_site
from tests.browsing import opened

pytestmark = pytest.mark.browser

DAY = date(2031, 4, 1)
SIZE = (1400, 1000)
PLACE = """(() => {
  const picture = document.querySelector('.zoom-frame img').getBoundingClientRect();
  return {left: picture.left, top: picture.top, width: picture.width, right: picture.right};
})()"""


@pytest.fixture
def large(empty):
    """A site with one picture larger than a page shows it; its front page's address."""
    taken = datetime(DAY.year, DAY.month, DAY.day, 10, 2, tzinfo=UTC)
    noise = np.random.default_rng(5).integers(0, 255, (50, 70, 3), np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).resize(SIZE).save(out, "JPEG")
    data = out.getvalue()
    file = empty.archive.store("bench", taken, data, ".jpg")
    frame = Frame("bench", taken, DAY, file.path, content_hash(data), len(data), *SIZE, "import")
    empty.catalogue.add_frames([frame])
    empty.catalogue.record(Screening(file.path, "m", (), 0.4, 0.0, 0.2), None, [])
    build_site(empty)
    return (empty.site / "index.html").as_uri()


@pytest.fixture
def phone(browser, large):
    """A page on a narrow screen that shows the picture small, and what it asked for."""
    with opened(browser, large, viewport={"width": 400, "height": 700}) as page:
        asked = []
        page.on("request", lambda r: "/pictures/bench/" in r.url and asked.append(r.url))
        yield page, asked


def test_the_large_picture_is_loaded_when_it_is_opened_and_not_before(phone):
    page, asked = phone
    shown = page.evaluate("document.querySelector('.plate img').currentSrc")
    assert shown.endswith(f"-480.{pictures.modern_kind()}")
    assert asked == []
    page.locator("a.zoom").click()
    page.wait_for_function("document.querySelector('.zoom-frame img').naturalWidth === 1400")
    assert [url.rsplit("-", 1)[1] for url in asked] == [f"1400.{pictures.modern_kind()}"]
    assert page.locator(".zoom-wait").is_hidden()


def test_by_keyboard_alone_it_opens_draws_nearer_moves_and_closes(phone):
    page, _ = phone
    page.locator("a.zoom").focus()
    page.keyboard.press("Enter")
    assert page.locator("dialog.zoomed").is_visible()
    whole = page.evaluate(PLACE)
    assert whole["width"] == pytest.approx(400, abs=1), "the whole picture fits"
    for _ in range(3):
        page.keyboard.press("+")
    near = page.evaluate(PLACE)
    assert near["width"] == pytest.approx(400 * 1.4**3, rel=0.01)
    assert near["left"] + near["width"] / 2 == pytest.approx(200, abs=2), "about its middle"
    page.keyboard.press("ArrowRight")
    assert page.evaluate(PLACE)["left"] == pytest.approx(near["left"] - 60, abs=1)
    page.keyboard.press("ArrowDown")
    for _ in range(30):
        page.keyboard.press("ArrowLeft")
    assert page.evaluate(PLACE)["left"] == pytest.approx(0, abs=1), "it ends at its edge"
    page.keyboard.press("End")
    assert page.evaluate(PLACE)["right"] == pytest.approx(400, abs=1)
    page.keyboard.press("-")
    assert page.evaluate(PLACE)["width"] == pytest.approx(400 * 1.4**2, rel=0.01)
    page.keyboard.press("0")
    assert page.evaluate(PLACE) == pytest.approx(whole, abs=1)
    page.keyboard.press("Escape")
    page.locator("dialog").wait_for(state="detached")
    assert page.evaluate("document.activeElement.matches('a.zoom')"), "focus is back"


def test_tabs_stay_in_the_dialog_and_reach_its_buttons(phone):
    page, _ = phone
    page.locator("a.zoom").focus()
    page.keyboard.press("Enter")
    names = []
    for _ in range(4):
        page.keyboard.press("Tab")
        names.append(page.evaluate("document.activeElement.getAttribute('aria-label')"))
    assert names == ["Nearer", "Farther", "The whole picture", "Close"]
    page.keyboard.press("Enter")
    page.locator("dialog").wait_for(state="detached")


def test_the_wheel_draws_nearer_where_the_pointer_is_and_dragging_moves(phone):
    page, _ = phone
    page.locator("a.zoom").click()
    page.evaluate("new Promise(requestAnimationFrame)")
    at = page.evaluate(PLACE)
    page.mouse.move(100, 350)
    share = (100 - at["left"]) / at["width"]
    for _ in range(6):
        page.mouse.wheel(0, -100)
    page.wait_for_function(f"({PLACE}).width > 600")
    near = page.evaluate(PLACE)
    assert (100 - near["left"]) / near["width"] == pytest.approx(share, abs=0.01)
    page.mouse.down()
    page.mouse.move(60, 350, steps=4)
    page.mouse.up()
    assert page.evaluate(PLACE)["left"] == pytest.approx(near["left"] - 40, abs=1)


def test_two_fingers_draw_it_nearer(phone):
    page, _ = phone
    page.locator("a.zoom").click()
    send = page.context.new_cdp_session(page).send

    def touch(kind, *points):
        touches = [{"x": x, "y": 350, "id": number} for number, x in enumerate(points)]
        send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    touch("touchStart", 170, 230)
    for away in (40, 50, 60, 75):
        touch("touchMove", 200 - away, 200 + away)
    touch("touchEnd")
    page.wait_for_function(f"({PLACE}).width > 900")
    assert page.evaluate(PLACE)["width"] == pytest.approx(400 * 75 / 30, rel=0.03)
    assert page.locator("dialog").is_visible()


def test_arrows_turn_no_day_while_a_picture_is_open(phone):
    page, _ = phone
    before = page.url
    page.locator("a.zoom").click()
    page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(150)
    assert page.url == before and page.locator("dialog").is_visible()


def test_without_scripts_the_picture_is_a_link_to_its_largest_file(browser, large):
    with opened(browser, large, java_script_enabled=False) as page:
        page.locator("a.zoom").click()
        page.wait_for_url(f"**/pictures/bench/{DAY}-*-1400.{pictures.modern_kind()}")


def test_at_the_largest_a_pixel_of_the_picture_has_four_of_the_screen(phone):
    page, _ = phone
    page.locator("a.zoom").click()
    for _ in range(20):
        page.keyboard.press("+")
    assert page.evaluate(PLACE)["width"] == pytest.approx(4 * 1400, rel=0.01)
