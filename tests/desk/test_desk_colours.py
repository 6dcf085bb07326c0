"""Colours at the desk: strokes that are painted, seen at once, kept, and taken out."""

import re

import numpy as np
import pytest

from lapsekit.season import Season
from lapsekit.trying_colours import Trial
from lapsekit.vision.strokes import Stroke, read_strokes
from tests.axe import findings
from tests.desk.conftest import LAPTOP, PHONE

AT = "/colours/?day=2031-04-04"
BY_HAND = "# the disc in the left half\r\nframe,kind,width_px,points\r\n"


@pytest.fixture
def season(folder):
    """The season of `desk`, measured by the model, which strokes can teach."""
    file = folder / "season.toml"
    file.write_text(file.read_text().replace('"exgr"', '"model"'))
    season = Season(folder)
    yield season
    season.catalogue.close()


def ready(page, number=1):
    page.locator(f'#colours[data-shown="{number}"]').wait_for()


def paint(page, *places):
    """A stroke through places, as shares of the picture's width and height."""
    page.locator(".board-view").scroll_into_view_if_needed()
    view = page.locator(".board-view").bounding_box()
    at = [(view["x"] + x * view["width"], view["y"] + y * view["height"]) for x, y in places]
    page.mouse.move(*at[0])
    page.mouse.down()
    for place in at[1:]:
        page.mouse.move(*place, steps=4)
    page.mouse.up()


def strokes(season):
    return read_strokes((season.folder / "colours.csv").read_text())


def test_a_share_stands_in_one_line_with_its_sign(page, season):
    page.set_viewport_size({"width": 900, "height": 860})
    file = season.folder / "regions.toml"
    long = "Sweet basil in the box that hangs at the long window, beside the door, third pot"
    label = f'name = "basil"\nlabel = "{long}"'
    file.write_text(file.read_text().replace('name = "basil"', label))
    page.goto(AT)
    ready(page)
    lines = page.evaluate("""() => [...document.querySelectorAll('#covers .number')].map((cell) => {
        const range = document.createRange();
        range.selectNodeContents(cell);
        return new Set([...range.getClientRects()].map((box) => Math.round(box.top))).size;
    })""")
    assert lines and set(lines) == {1}


def test_a_stroke_changes_the_mask_as_measuring_would(page, season):
    """What the page shows after painting is what the measurement with those strokes comes to."""
    page.goto(AT)
    ready(page)
    before = page.locator("#covers").inner_text()
    page.get_by_role("button", name="Not plant").click()
    paint(page, (0.22, 0.5), (0.28, 0.5))  # over the left disc
    ready(page, 2)
    assert page.locator("#covers").inner_text() != before
    told = page.locator("#strokes").input_value()
    kind, width, *numbers = told.split()
    assert kind == "other"
    points = tuple(zip(map(float, numbers[::2]), map(float, numbers[1::2]), strict=True))
    assert np.allclose(points[0], (0.22 * 320, 0.5 * 240), atol=1.5)
    frame = season.daily_pictures()["bench"][season.catalogue.days_of_camera("bench")[3]]
    mask = Trial(season, frame).with_strokes([Stroke(frame.path, False, float(width), points)])
    basil = next(r for r in mask.regions if r.region == "basil")
    assert basil.cover_before > 0.01 and basil.cover_after < basil.cover_before / 2
    row = page.locator("#covers tr", has_text="Basil").inner_text()
    seen = [float(n) for n in re.findall(r"([\d.]+) %", row)]
    assert np.allclose(seen, (100 * basil.cover_before, 100 * basil.cover_after), atol=0.06)
    shown = page.locator(".board-layer image").get_attribute("href")
    page.goto(shown)  # the picture that lies over the frame, alone
    assert page.evaluate("[document.images[0].naturalWidth, document.images[0].naturalHeight]") == [
        320,
        240,
    ]


def test_strokes_are_kept_where_a_hand_wrote_before_and_taken_out_again(page, season):
    (season.folder / "colours.csv").write_bytes(BY_HAND.encode())
    page.goto(AT)
    ready(page)
    paint(page, (0.7, 0.5), (0.8, 0.5))
    ready(page, 2)
    page.get_by_role("button", name="Keep these strokes").click()
    assert "1 stroke" in page.locator("#notes").inner_text()
    content = (season.folder / "colours.csv").read_bytes().decode()
    assert content.startswith(BY_HAND)
    assert content.count("\r\n") == 3 == content.count("\n")
    (kept,) = strokes(season)
    assert kept.is_plant and kept.frame.startswith("frames/bench/2031-04-04/")
    page.get_by_role("button", name="Undo", exact=True).click()
    assert (season.folder / "colours.csv").read_bytes().decode() == BY_HAND
    page.get_by_role("button", name="Do it again", exact=True).click()
    page.get_by_role("button", name="Take out").click()
    assert (season.folder / "colours.csv").read_bytes().decode() == BY_HAND
    page.get_by_role("button", name="Undo", exact=True).click()
    assert (season.folder / "colours.csv").read_bytes().decode() == content


def test_what_is_painted_can_be_undone_before_it_is_kept(page, season):
    page.goto(AT)
    ready(page)
    before = page.locator("#covers").inner_text()
    page.get_by_role("button", name="Not plant").click()
    paint(page, (0.22, 0.5), (0.28, 0.5))
    ready(page, 2)
    page.get_by_role("button", name="Undo stroke").click()
    ready(page, 3)
    assert page.locator("#covers").inner_text() == before
    assert page.locator("#strokes").input_value() == ""
    assert not (season.folder / "colours.csv").exists()


def test_by_keys_alone_a_stroke_is_painted(page, season):
    page.goto(AT)
    ready(page)
    page.locator(".board-view").focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press(" ")
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    page.keyboard.press(" ")
    ready(page, 2)
    assert page.locator("#strokes").input_value().startswith("plant")


def test_a_stroke_that_somebody_took_out_meanwhile_is_told(page, season):
    page.goto(AT)
    ready(page)
    paint(page, (0.7, 0.5), (0.8, 0.5))
    ready(page, 2)
    page.get_by_role("button", name="Keep these strokes").click()
    hand = (season.folder / "colours.csv").read_text() + "# a hand was here\n"
    (season.folder / "colours.csv").write_text(hand)
    page.get_by_role("button", name="Take out").click()
    assert "colours.csv" in page.get_by_role("alert").inner_text()
    assert (season.folder / "colours.csv").read_text() == hand


@pytest.mark.parametrize(
    "told", ["plant", "leaf 6 1 2", "plant 6 1", "plant 6 1 9999", "plant x 1 2", "plant -1 1 2"]
)
def test_a_stroke_that_is_none_is_refused_in_words(page, season, told):
    page.goto(AT)
    ready(page)
    token = page.locator('meta[name="form-token"]').get_attribute("content")
    at = page.locator("#colours").get_attribute("data-at")
    answer = page.request.post(at, form={"form_token": token, "strokes": told})
    assert answer.status == 400 and "points as x y x y" in answer.text()
    assert not (season.folder / "colours.csv").exists()


@pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_axe_finds_nothing_on_colours(browser, desk, season, viewport):
    context = browser.new_context(viewport=viewport, base_url=desk, bypass_csp=True)
    page = context.new_page()
    page.goto(AT)
    ready(page)
    assert findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    context.close()


def test_a_stroke_that_takes_a_region_away_is_warned_of_where_it_is_painted_with_the_way_back(
    page, season
):
    page.goto(AT)
    ready(page)
    warned = page.get_by_role("alert")
    assert warned.count() == 0
    page.get_by_role("button", name="Not plant").click()
    paint(page, (0.22, 0.5), (0.28, 0.5))  # over the left disc
    ready(page, 2)
    row = page.locator("#covers tr", has_text="Basil").inner_text()
    before, after = [float(n) for n in row.replace("%", "").split()[1:]]
    assert after < before / 10
    told = warned.inner_text()
    assert f"Basil from {before:.1f} % to {after:.1f} %" in told and "Undo the stroke" in told
    assert "Chives" not in told
    box = warned.bounding_box()
    assert box["y"] >= 0 and box["y"] + box["height"] <= PHONE["height"] - 53  # above the menu
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.get_by_role("button", name="Undo that stroke").click()
    ready(page, 3)
    assert warned.count() == 0
    assert page.locator("#strokes").input_value() == ""


def test_a_stroke_that_changes_little_is_not_warned_of(page, season):
    page.goto(AT)
    ready(page)
    paint(page, (0.24, 0.5), (0.26, 0.5))  # plant, on a plant
    ready(page, 2)
    assert page.get_by_role("alert").count() == 0
