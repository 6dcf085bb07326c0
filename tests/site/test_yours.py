"""A follower holds a plant against the grower's: by pointer, by keyboard, and nothing leaves."""

import io
import json
import os
import re
import shutil
import time
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from lapsekit.resources import shipped_model_text
from lapsekit.site.build import build_site
from lapsekit.vision.canopy import CanopyModel
from tests.npm_tools import axe_source
from tests.site.measuring_page import cover_by_python, served
from tests.site.small_season import FIRST, add_day, found

pytestmark = pytest.mark.browser
FRAME = Path(__file__).parents[2] / "sample_frames" / "frames" / "bench" / "2026-04-16"
MEASURED = "was measured."
BOX = [20, 20, 240, 290]


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """A site of eight days, whose curves are known."""
    season = found(tmp_path_factory.mktemp("yours") / "season")
    days = [FIRST.replace(day=number) for number in (2, 3, 5, 7, 8, 9)]
    for day in days:
        add_day(season, day)
    build_site(season)
    season.catalogue.close()
    names = [str(FIRST.replace(day=number)) for number in range(1, 10)]
    value = [
        20.0 + 10 * k if str(name) in {str(d) for d in days} else None
        for k, name in enumerate(names)
    ]
    series = [
        _series("basil", None, "Basil", value),
        _series("pair of bench", "pair", "pair, mean of 2", value),
    ]
    series[0]["curve"], series[0]["curve_low"], series[0]["curve_high"] = (
        [*part] for part in _bands(value)
    )
    told = {"days": names, "sown": "2031-03-25", "events": [], "series": series}
    (season.site / "data" / "curves.js").write_text(f"lapsekit.curves = {json.dumps(told)};\n")
    return season.site


def _bands(value):
    return ([None if v is None else v + off for v in value] for off in (0, -2, 2))


def _series(name, group, title, value):
    middle, low, high = _bands(value)
    return {
        "name": name,
        "group": group,
        "camera": "bench",
        "title": title,
        "unit": "cm²",
        "sown": "2031-03-25",
        "value": middle,
        "low": low,
        "high": high,
    }


@pytest.fixture(scope="module")
def address(site):
    """The site on a web server."""
    with served(site) as root:
        yield root


@pytest.fixture
def opened(browser, address):
    """Opens the page with options of the browser; its requests are kept."""
    contexts = []

    def at(root=address, **options):
        context = browser.new_context(accept_downloads=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.asked = []
        page.on("request", lambda request: page.asked.append(request))
        page.goto(f"{root}yours/index.html")
        if options.get("java_script_enabled", True):
            page.locator("#yours:not([hidden])").wait_for()
        return page

    yield at
    for context in contexts:
        context.close()


@pytest.fixture(scope="module")
def photo():
    """A bench half grown, 960 × 720 px, and its canopy within `BOX`, in px."""
    file = sorted(FRAME.glob("*.jpg"))[2]
    model = CanopyModel.from_json(shipped_model_text())
    cover = cover_by_python(file, model)
    left, top, right, bottom = BOX
    return file, float(cover[top:bottom, left:right].sum(dtype=np.float64))


def give(page, file):
    """Choose a photo and wait until it is measured."""
    page.set_input_files("#yours-file", file)
    page.locator(".yours-status", has_text=MEASURED).wait_for(timeout=60_000)


def with_exif(file, moment, order):
    """The picture with a time in its Exif, of either order of bytes."""
    exif = Image.Exif()
    exif.endian = "<" if order == "little" else ">"
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = moment
    out = io.BytesIO()
    with Image.open(file) as picture:
        picture.save(out, "JPEG", quality=92, exif=exif)
    assert (b"II*\0" if order == "little" else b"MM\0*") in out.getvalue()
    return out.getvalue()


def tap(page, *places):
    """Tap places of the photo, given in its pixels."""
    canvas = page.locator(".yours-photo")
    scale = canvas.evaluate("c => c.getBoundingClientRect().width / c.width")
    for x, y in places:
        canvas.click(position={"x": x * scale, "y": y * scale})


def dated(page):
    """A plant of nine days: ours was as old on 3 April 2031."""
    page.fill("#yours-sown", "2026-03-01")
    page.fill("#yours-taken", "2026-03-10")


def numbers(text):
    """Value, low and high of the first area in a text."""
    return [
        float(n) for n in re.search(r"([\d.]+)\u00a0cm² \(([\d.]+) to ([\d.]+)\)", text).groups()
    ]


def test_a_plant_is_measured_in_its_box_and_put_on_the_curve(opened, photo):
    file, pixels = photo
    page = opened(viewport={"width": 1280, "height": 900})
    dated(page)
    page.locator(".yours-age", has_text="Ours was as old on").wait_for()
    assert "Ours was as old on Thursday 3 April 2031" in page.inner_text(".yours-age").replace(
        ",", ""
    )
    give(page, file)
    page.fill("#yours-length", "40")
    tap(page, (100, 650), (500, 650))
    page.check("input[value=box]")
    tap(page, BOX[:2], BOX[2:])
    page.locator(".yours-verdict", has_text="on day 9; ours covered").wait_for()
    page.wait_for_timeout(50)
    deadline = time.monotonic() + 20  # the whole picture is told until its box is counted
    while numbers(page.inner_text(".yours-verdict"))[0] > 2 * pixels * 0.01:
        assert time.monotonic() < deadline, "what lies in the box was never told"
        page.wait_for_timeout(50)
    verdict = page.inner_text(".yours-verdict")
    value, low, high = numbers(verdict)
    assert value == pytest.approx(pixels * 0.01, rel=0.03), (
        "taps fall on whole points of the screen"
    )
    assert low < pixels * 0.01 < high
    assert "ours covered 40\u00a0cm² (38 to 42) at that age" in verdict
    dot = page.evaluate("""() => {
      const at = (e, ...names) => names.map((n) => Number(e.getAttribute(n)));
      const svg = document.querySelector(".yours-curve svg");
      const end = svg.querySelector(".yours-dot line");
      const points = [...svg.querySelectorAll(".yours-line")]
        .flatMap((p) => [...p.getAttribute("d").matchAll(/([\\d.]+) ([\\d.]+)/g)])
        .map((m) => [Number(m[1]), Number(m[2])]);
      return {dot: at(svg.querySelector(".yours-dot circle"), "cx", "cy"), points,
        ends: at(end, "y1", "y2"), none: at(svg.querySelector(".yours-axes line"), "y1")[0]};
    }""")
    above = min(dot["points"], key=lambda point: abs(point[0] - dot["dot"][0]))
    assert above[0] == pytest.approx(dot["dot"][0], abs=0.1), "ours has a point at that age"
    heights = [dot["none"] - y for y in (dot["dot"][1], *dot["ends"], above[1])]
    scale = heights[3] / 40
    assert [h / scale for h in heights[:3]] == pytest.approx([value, low, high], rel=0.02)


def test_the_keyboard_alone_does_it_all(opened, photo):
    file, pixels = photo
    page = opened(viewport={"width": 1280, "height": 900})
    dated(page)
    give(page, file)
    page.focus("#yours-length")
    page.keyboard.type("57,6")
    marks = page.locator(".yours-mark")
    for number, keys in (
        (0, ["ArrowRight", "ArrowLeft"]),
        (1, ["Shift+ArrowUp", "Shift+ArrowDown"]),
    ):
        marks.nth(number).focus()
        assert page.locator(".yours-loupe").is_visible()
        for key in keys:
            page.keyboard.press(key)
    assert (
        marks.first.get_attribute("aria-label") == "First end of the length: 192 across, 648 down"
    )
    page.locator(".yours-scale", has_text=re.compile("^1 cm is 10.0 pixels")).wait_for()
    page.focus("input[value=ends]")
    page.keyboard.press("ArrowDown")
    for number, (x, y) in ((2, BOX[:2]), (3, BOX[2:])):
        mark = marks.nth(number)
        mark.focus()
        page.keyboard.press("ArrowRight")
        here = [int(n) for n in re.findall(r"\d+", mark.get_attribute("aria-label"))]
        for way, steps in (("Right", x - here[0]), ("Down", y - here[1])):
            way = way if steps > 0 else {"Right": "Left", "Down": "Up"}[way]
            for key, count in (
                (f"Shift+Arrow{way}", abs(steps) // 10),
                (f"Arrow{way}", abs(steps) % 10),
            ):
                for _ in range(count):
                    page.keyboard.press(key)
    page.locator(".yours-verdict", has_text="ours covered").wait_for()
    expected = round(pixels * 0.01)
    page.locator(".yours-verdict", has_text=f"Yours: {expected}\u00a0cm²").wait_for()
    page.focus("#yours-no-box")
    page.keyboard.press("Enter")
    page.locator("#yours-no-box").wait_for(state="hidden")
    page.locator(".yours-verdict", has_not_text=f"Yours: {expected}\u00a0cm²").wait_for()


def test_nothing_of_the_photo_or_the_fields_is_sent_or_kept(opened, photo):
    page = opened()
    page.locator("#yours").evaluate(
        "() => lapsekit.measuring.begun(document.getElementById('yours').dataset.rule)"
    )
    before = len(page.asked)
    dated(page)
    give(page, photo[0])
    page.fill("#yours-length", "40")
    tap(page, (100, 650), (500, 650))
    page.locator(".yours-verdict", has_text="ours covered").wait_for()
    with page.expect_download() as download:
        page.click("#yours-save")
    assert download.value.suggested_filename == "plants-day-9.png"
    assert {request.method for request in page.asked} == {"GET"}
    assert not [request.url for request in page.asked if request.post_data_buffer]
    later = {
        request.url.split("/", 3)[3]
        for request in page.asked[before:]
        if not request.url.startswith("blob:")
    }
    assert all(re.match(r"(pictures|assets/fonts)/[\w/.-]+$", url) for url in later), later
    kept = page.evaluate("""async () => [document.cookie, localStorage.length,
      sessionStorage.length, (await indexedDB.databases()).length, (await caches.keys()).length]""")
    assert kept == ["", 0, 0, 0, 0]


def test_both_are_shown_and_saved_at_one_scale(opened, tmp_path):
    """Red bars 10 cm apart in the photo, blue ones 10 cm apart in ours."""
    drawn = np.full((600, 800, 3), 128, np.uint8)
    drawn[280:320, [*range(198, 203), *range(598, 603)]] = (255, 0, 0)
    Image.fromarray(drawn).save(tmp_path / "bars.png")
    page = opened(viewport={"width": 1000, "height": 900})

    def blue(route):
        ours = np.full((240, 320, 3), 128, np.uint8)
        ours[60:180, [*range(24, 27), *range(124, 127)]] = (0, 0, 255)
        Image.fromarray(ours).save(tmp_path / "ours.png")
        route.fulfill(path=tmp_path / "ours.png", content_type="image/png")

    page.route("**/pictures/**", blue)
    dated(page)
    give(page, tmp_path / "bars.png")
    page.fill("#yours-length", "10")
    tap(page, (200, 300), (600, 300))
    page.locator(".yours-one-scale", has_text="Both at one scale").wait_for()
    with page.expect_download() as download:
        page.click("#yours-save")
    download.value.save_as(tmp_path / "card.png")
    page.locator(".yours-pair").screenshot(path=tmp_path / "pair.png")
    for name, rows in (("pair", slice(None)), ("card", slice(170, 690))):
        seen = np.asarray(Image.open(tmp_path / f"{name}.png").convert("RGB"))[rows].astype(int)
        red = _bars(seen[..., 0] - seen[..., 1:].max(axis=2))
        blue_ = _bars(seen[..., 2] - seen[..., :2].max(axis=2))
        assert red == pytest.approx(blue_, rel=0.03), name
        assert red > 60, name


def _bars(colour):
    """How far two upright bars of a colour are apart, by the middles of what each covers."""
    columns = np.flatnonzero((colour > 60).sum(axis=0) > 5)
    left, right = np.split(columns, [int(np.argmax(np.diff(columns))) + 1])
    return right.mean() - left.mean()


def test_a_picture_of_another_shape_keeps_its_own_and_is_not_said_to_be_at_one_scale(
    opened, tmp_path, photo
):
    page = opened(viewport={"width": 1000, "height": 900})
    tall = np.full((320, 160, 3), 128, np.uint8)
    tall[110:210, 30:130] = (0, 0, 255)
    Image.fromarray(tall).save(tmp_path / "tall.png")
    kept = {"path": tmp_path / "tall.png", "content_type": "image/png"}
    page.route("**/pictures/**", lambda route: route.fulfill(**kept))
    page.evaluate("() => { for (const each of lapsekit.season.regions) each.box = null; }")
    dated(page)
    give(page, photo[0])
    page.fill("#yours-length", "10")
    tap(page, (200, 300), (600, 300))
    page.locator(".yours-one-scale", has_text="is of another shape").wait_for()
    with page.expect_download() as download:
        page.click("#yours-save")
    download.value.save_as(tmp_path / "card.png")
    page.locator(".yours-panel[data-of=ours]").screenshot(path=tmp_path / "panel.png")
    for name, part in (
        ("panel", np.s_[:, :]),
        ("card", np.s_[168 : 168 + 525, 615 : 615 + 525]),
    ):
        seen = np.asarray(Image.open(tmp_path / f"{name}.png").convert("RGB"))[part].astype(int)
        rows, columns = np.nonzero(seen[..., 2] - seen[..., :2].max(axis=2) > 60)
        assert np.ptp(rows) == pytest.approx(np.ptp(columns), abs=3), name
        # 320 rows of it are as high as the view, which is 240 to 320
        assert np.ptp(rows) == pytest.approx(seen.shape[1] * 0.75 * 100 / 320, rel=0.04), name


def test_a_turned_picture_is_shown_as_the_reference_view_sees_it(opened, tmp_path):
    """A mark at a known place of the reference view, taken by a camera that had moved."""
    page = opened()
    turn = np.array([[0.9, 0.06, 0.02], [-0.05, 1.05, 0.03], [0.04, -0.03, 1]])
    place = np.linalg.inv(turn) @ [0.55, 0.4, 1]
    x, y = (place[:2] / place[2] * [400, 300]).round().astype(int)
    drawn = np.full((300, 400, 3), 128, np.uint8)
    drawn[y - 6 : y + 7, x - 6 : x + 7] = (255, 0, 0)
    Image.fromarray(drawn).save(tmp_path / "moved.png")
    page.route("**/moved-400.png", lambda route: route.fulfill(path=tmp_path / "moved.png"))
    page.evaluate(
        """async (turn) => {
      const panel = document.createElement("div");
      panel.className = "yours-panel";
      panel.id = "tried";
      panel.style.width = "200px";
      document.getElementById("content").prepend(panel);
      const shown = {stem: "moved", widths: [400], fallback: [400], kinds: ["png"], turn};
      const ours = {title: "x", day: "2031-04-01", region: {box: [0.5, 0.3, 0.2, 0.2]},
        camera: {width: 400, height: 300, days: {"2031-04-01": shown}}};
      await lapsekit.pair.drawOurs(panel, ours, 200, 2.5).decode();
    }""",
        turn.ravel().tolist(),
    )
    page.locator("#tried").screenshot(path=tmp_path / "tried.png")
    seen = np.asarray(Image.open(tmp_path / "tried.png").convert("RGB")).astype(int)
    rows, columns = np.nonzero(seen[..., 0] - seen[..., 1] > 60)
    # 1000 × 750 points stand for the view; the box's middle (0.6, 0.4) is the square's middle
    assert columns.mean() == pytest.approx(100 + (0.55 - 0.6) * 1000, abs=3)
    assert rows.mean() == pytest.approx(100, abs=3)


def test_a_group_is_held_against_by_its_mean_and_says_so(opened, photo):
    page = opened()
    page.evaluate(
        """() => { for (const region of lapsekit.season.regions) region.group = "pair"; }"""
    )
    dated(page)
    page.select_option("#yours-region", "pair of bench")
    give(page, photo[0])
    page.fill("#yours-length", "40")
    tap(page, (100, 650), (500, 650))
    page.locator(".yours-verdict", has_text="the mean of the group").wait_for()
    assert "day 9, the plant nearest to its group’s mean" in page.inner_text(".yours-pair")


def test_a_group_is_of_one_camera_though_anothers_is_called_the_same(opened):
    """On a day without a value any plant of the group may stand for it."""
    page = opened()
    page.evaluate("""() => {
      const {regions} = lapsekit.season;
      for (const region of regions) region.group = "pair";
      regions.sort((a) => (a.camera === "bench" ? 1 : -1));
    }""")
    shown = page.evaluate("() => lapsekit.ours.at('pair of bench', 10)")
    assert (shown["region"]["name"], shown["camera"]["name"]) == ("basil", "bench")


def test_the_nearest_picture_is_said_where_there_is_none_of_that_age(opened):
    page = opened()
    page.fill("#yours-sown", "2026-03-01")
    page.fill("#yours-taken", "2026-04-30")
    page.locator(".yours-age", has_text="nearest to that age is of").wait_for()
    assert "9 April 2031" in page.inner_text(".yours-age")
    assert "when ours was 15 days old" in page.inner_text(".yours-age")
    page.fill("#yours-taken", "2026-02-01")
    page.locator(".yours-age", has_text="older than the sowing").wait_for()


def test_what_is_no_picture_is_refused_in_words(opened, tmp_path, photo):
    page = opened()
    (tmp_path / "notes.jpg").write_text("no picture")
    (tmp_path / "phone.heic").write_bytes(b"\0\0\0\x18ftypheic" + bytes(64))
    for name, words in (("notes.jpg", "no picture that this browser"), ("phone.heic", "HEIC")):
        page.set_input_files("#yours-file", tmp_path / name)
        page.locator(".yours-problem", has_text=words).wait_for()
    give(page, photo[0])
    assert page.locator(".yours-problem").is_hidden(), "a good photo afterwards is measured"


def test_a_photo_has_the_day_its_camera_wrote_or_its_files_until_another_is_filled_in(
    opened, tmp_path, photo
):
    page = opened()
    file = tmp_path / f"\u202e{'x' * 200}.jpg"
    with Image.open(photo[0]) as picture:
        picture.save(file, "JPEG", quality=92)  # without what the camera wrote
    for seconds, day in ((1_900_000_000, "2030-03-17"), (1_910_000_000, "2030-07-11")):
        os.utime(file, (seconds, seconds))
        page.set_input_files("#yours-file", [])
        give(page, file)
        assert page.input_value("#yours-taken") == day
        assert "date of the file" in page.inner_text(".yours-dated")
    for order in ("little", "big"):
        file.write_bytes(with_exif(photo[0], "2031:05:03 11:12:13", order))
        page.set_input_files("#yours-file", [])
        give(page, file)
        assert page.input_value("#yours-taken") == "2031-05-03", "what the camera wrote comes first"
    page.fill("#yours-taken", "2030-07-01")
    page.set_input_files("#yours-file", [])
    give(page, photo[0])
    assert page.input_value("#yours-taken") == "2030-07-01"


def test_a_host_that_forbids_measuring_is_named_and_both_are_shown(opened, site, photo):
    policy = "script-src 'self'; worker-src 'self'"
    with served(site, ("Content-Security-Policy", policy)) as root:
        page = opened(root)
        dated(page)
        page.set_input_files("#yours-file", photo[0])
        page.locator(".yours-problem", has_text="does not let pages measure").wait_for()
        page.locator(".yours-panel[data-of=ours] img").wait_for()
        assert page.locator(".yours-panel canvas").is_visible()


def test_from_a_folder_it_says_that_measuring_needs_an_address(opened, site, photo):
    page = opened(f"{site.as_uri()}/")
    page.locator(".yours-problem", has_text="web address").wait_for()
    dated(page)
    page.set_input_files("#yours-file", photo[0])
    page.fill("#yours-length", "40")
    tap(page, (100, 650), (500, 650))
    page.locator(".yours-one-scale", has_text="Both at one scale").wait_for()
    assert page.locator("#yours-save").is_disabled()


@pytest.fixture
def changed(site, tmp_path):
    """Serves a copy of the site whose worker is another: part of its text for other text."""
    with ExitStack() as stack:

        def make(before, after):
            copy = shutil.copytree(site, tmp_path / "copy")
            (file,) = copy.glob("assets/canopy/worker*.js")
            told = file.read_text(encoding="utf-8")
            assert told.count(before) == 1
            file.write_text(told.replace(before, after), encoding="utf-8")
            return stack.enter_context(served(copy))

        yield make


def test_a_worker_that_breaks_down_is_said_and_the_next_photo_is_measured(
    opened, changed, photo, tmp_path
):
    answer = "self.postMessage({ id: data.id, found }, moved);"
    breaks = 'if (data.picture && data.picture.name === "bad.jpg")'
    page = opened(changed(answer, f"{breaks} setTimeout(() => {{ throw 1; }}); else {answer}"))
    shutil.copy(photo[0], tmp_path / "bad.jpg")
    page.set_input_files("#yours-file", tmp_path / "bad.jpg")
    page.locator(".yours-problem", has_text="could not be measured").wait_for()
    assert page.inner_text(".yours-status") == ""
    give(page, photo[0])
    assert page.locator(".yours-problem").is_hidden()


def test_an_area_that_could_not_be_counted_is_asked_for_again(opened, changed, photo):
    reads = "const { width, cover } = measured;"
    fails = "if (!self.before) { self.before = true; throw new Error(); }"
    page = opened(changed(reads, f"{fails} {reads}"))
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.evaluate("""() => {
      window.told = [];
      const place = document.querySelector("#yours .yours-problem");
      new MutationObserver(() => told.push(place.textContent)).observe(place, {childList: true});
    }""")
    dated(page)
    give(page, photo[0])
    page.wait_for_function("told.some((text) => text.includes('can be tried again'))")
    page.fill("#yours-length", "40")
    tap(page, (100, 650), (500, 650))
    page.locator(".yours-verdict", has_text="ours covered").wait_for()
    assert page.locator(".yours-problem").is_hidden()
    assert errors == []


def test_where_the_list_of_pictures_does_not_come_the_page_says_so(browser, address):
    page = browser.new_page()
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.route("**/data/season.js*", lambda route: route.abort())
    page.goto(f"{address}yours/index.html")
    page.get_by_role("alert").get_by_text("list of pictures could not be loaded").wait_for()
    assert errors == []
    page.close()


def test_without_scripts_it_says_what_it_needs(opened):
    page = opened(java_script_enabled=False)
    assert "This page needs scripts" in page.inner_text("main")
    assert page.locator("#yours").is_hidden()


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (768, "dark"), (1280, "dark")])
def test_with_a_photo_it_fits_and_axe_finds_nothing(opened, photo, width, scheme):
    page = opened(viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=True)
    dated(page)
    give(page, photo[0])
    page.fill("#yours-length", "40")
    tap(page, (100, 650), (500, 650))
    page.check("input[value=box]")
    tap(page, BOX[:2], BOX[2:])
    page.locator(".yours-verdict", has_text="ours covered").wait_for()
    page.click("summary")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    small = page.evaluate("""() =>
      [...document.querySelectorAll("#yours :is(button, input, select)")]
      .filter((element) => element.checkVisibility())
      .filter((element) => {
        const {width, height} = (element.closest("label") || element).getBoundingClientRect();
        return Math.min(width, height) < 24;
      }).map((element) => element.id || element.className)""")
    assert small == []
    page.add_script_tag(content=axe_source())
    amiss = page.evaluate(
        """async () => (await axe.run("main")).violations
      .map((each) => [each.id, each.nodes.map((node) => node.html)])"""
    )
    assert amiss == []
