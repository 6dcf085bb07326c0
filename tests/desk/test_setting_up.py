"""A season set up at the desk, in a real browser, by what a grower would tap and type."""

import io
import re
import shlex
import shutil
import subprocess
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from PIL import ExifTags, Image

from lapsekit.cameras import Shot
from lapsekit.desk.lookout import Lookout
from lapsekit.errors import CameraError
from lapsekit.founding import found_season
from lapsekit.season import Season
from lapsekit.trust import trust
from lapsekit.web.passwords import hashed, keep_password
from tests.axe import findings
from tests.desk.conftest import LAPTOP, PHONE, served
from tests.desk.pointing import board_of, tap
from tests.scenes import bench_picture, encoded, make_season

SAMPLE = Path(__file__).parents[2] / "sample_frames"
GOOD = SAMPLE / "frames/bench/2026-04-20/20260420T090000Z.jpg"
TAG_SIDE_CM = 14.0
LEVELS = """async () => {
    const live = document.getElementById('live');
    await live.decode();
    const canvas = Object.assign(document.createElement('canvas'), { width: 320, height: 240 });
    const context = canvas.getContext('2d');
    context.drawImage(live, 0, 0, 320, 240);
    return [[60, 50], [200, 150]].map(([x, y]) => context.getImageData(x, y, 1, 1).data[0]);
}"""
AREA_CM2 = {"Green lettuce": (300, 480)}


@pytest.fixture
def replayed(tmp_path):
    """A folder with one dated frame of the sample season, long past."""
    folder = tmp_path / "old"
    folder.mkdir()
    shutil.copy(GOOD, folder / "20200420T090000Z.jpg")
    return folder


def opened(browser, address, size):
    context = browser.new_context(viewport=size, base_url=address, has_touch=size is PHONE)
    page = context.new_page()
    page.told = []
    page.on("console", lambda message: page.told.append(message.text))
    page.on("pageerror", lambda error: page.told.append(str(error)))
    return page


def work_done(page):
    page.wait_for_selector("text=Done.", timeout=120_000)
    page.click("text=Go on")


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_a_season_is_set_up_from_an_empty_folder_to_its_first_measured_day(
    browser, tmp_path, replayed, size
):
    folder = tmp_path / "bench"
    with served(folder, datetime.now(UTC)) as address:
        page = opened(browser, address, size)
        broken = []

        def looked_at():
            if size is PHONE:
                broken.extend(findings(page))
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= size["width"], page.url

        page.goto("/")
        looked_at()
        page.fill("#f-title", "Salad on the roof")
        page.fill("#f-sown", "2020-03-09")
        page.fill("#f-time_zone", "CET")
        page.click("text=Make the season")
        page.check("input[value=replay]")
        page.fill("#f-replay-folder", str(replayed))
        page.click("text=Save and try it")
        assert "960 × 720 px" in page.inner_text("#seen")
        looked_at()
        page.click("text=Next: Aim")
        page.wait_for_selector("#live:not([hidden])")
        looked_at()
        page.click("text=Take the reference view")
        page.click("text=Next: Times")
        page.fill("#f-from", "09:00")
        page.fill("#f-until", "11:00")
        page.click("form#times-form button.main")
        assert "09:00 · 09:30 · 10:00 · 10:30 · 11:00 · 12:00" in page.inner_text(".due")
        looked_at()
        page.click("text=Next: Scale")
        page.fill("#f-tag_side_cm", f"{TAG_SIDE_CM:g}")
        page.click("form[data-way=tag] button.main")
        assert "One px is 1.4 mm" in page.inner_text("#result")
        looked_at()
        page.click("text=Next: Regions")
        page.wait_for_url("**/regions/bench/")  # the page left has a picture to tap on as well
        tap(page, board_of(page), (4, 14), (242, 14), (242, 290), (4, 290), (4, 14))
        page.fill("#f-label", "Green lettuce")
        page.click("text=Save the region")
        assert "Green lettuce: outline from 2020-03-09" in page.inner_text("#notes")
        looked_at()
        page.click("text=Next: First pictures")
        page.click("text=Take one now")
        work_done(page)
        page.check("input[name=frame]")
        looked_at()
        page.click("text=Use those ticked")
        assert "nobody stands in it (verdicts.csv)" in page.inner_text("#notes")
        assert page.locator("#notes").get_by_role("button", name="Undo").count() == 1
        work_done(page)
        table = page.inner_text("#measured")
        looked_at()
        assert broken == []
        assert page.told == []
        page.context.close()
    season = Season(folder)
    found = {row.region: row for row in season.catalogue.daily()}
    season.catalogue.close()
    low, high = AREA_CM2["Green lettuce"]
    assert low < found["green-lettuce"].area_cm2 < high
    assert found["green-lettuce"].day == date(2020, 4, 20)
    assert f"{found['green-lettuce'].area_cm2:.0f} cm²" in table
    text = (folder / "season.toml").read_text()
    assert "# One table a camera; the name in the brackets files its frames. The kinds:" in text


def done_steps(page):
    return page.locator(".steps li.done .name").all_text_contents()


def test_a_camera_that_gives_no_picture_is_saved_its_fault_told_by_the_button_and_not_ticked(
    browser, tmp_path, replayed
):
    from playwright.sync_api import expect

    folder = make_season(tmp_path / "bench").folder
    trust(folder)
    with served(folder, datetime.now(UTC)) as address:
        page = opened(browser, address, PHONE)
        page.goto("/setup/camera/bench/")
        page.check("input[value=replay]")
        page.fill("#f-replay-folder", "nothing-there")
        page.click("text=Save and try it")
        told = page.locator("#camera-form #tried")
        assert "no dated frames there to play" in told.inner_text()
        button = page.get_by_role("button", name="Save and try it")
        for each in (told, button):  # the browser scrolls there once the page stands
            expect(each).to_be_in_viewport(ratio=1)
        assert "Camera" not in done_steps(page)
        assert findings(page) == []
        page.reload()
        assert "no dated frames there to play" in told.inner_text()
        assert Season(folder).settings.cameras["bench"].folder == "nothing-there"
        page.fill("#f-replay-folder", str(replayed))
        button.click()
        page.wait_for_selector("#seen img")
        assert told.count() == 0
        assert "Camera" in done_steps(page)
        page.context.close()


NEW = (
    '[season]\ntitle = "T"\ntime_zone = "UTC"\nsown = 2031-03-25\n\n[cameras.bench]\nkind = "usb"\n'
)


def test_where_pictures_are_brought_in_none_is_due_and_times_are_done(browser, folder):
    """A season whose only camera is of kind "files", with frames and without a [capture] table."""
    text = (folder / "season.toml").read_text()
    (folder / "season.toml").write_text(text.replace('[capture]\ndaily_at = "12:00"\n', ""))
    with served(folder) as address:
        page = opened(browser, address, PHONE)
        page.goto("/setup/times/")
        assert "none is taken" in page.inner_text("section[aria-label=Today]")
        assert "Times" in done_steps(page)


def test_times_that_are_shown_are_accepted_by_going_on(browser, tmp_path):
    folder = make_season(tmp_path / "bench", NEW).folder
    with served(folder) as address:
        page = opened(browser, address, PHONE)
        page.goto("/setup/times/")
        assert "Times" not in done_steps(page)
        page.click("text=Next: Scale")
        assert "/setup/scale/" in page.url
        assert "Times" in done_steps(page)
        assert "Pictures from 08:00 until 18:00" in page.inner_text("#notes")
        page.goto("/setup/times/")
        page.click("text=Next: Scale")
        assert page.inner_text("#notes").strip() == ""
        page.context.close()
    table = Season(folder).settings.capture
    assert (f"{table.first:%H:%M}", f"{table.last:%H:%M}") == ("08:00", "18:00")


def test_next_saves_what_was_typed_and_other_ways_out_ask_first(page, folder):
    page.goto("/setup/season/")
    page.fill("#f-title", "Roof")
    page.click("text=Next: Camera")
    page.wait_for_url("**/setup/camera/bench/")
    assert Season(folder).settings.season.title == "Roof"
    page.goto("/setup/scale/bench/")
    page.click("#way-chips [data-way=number]")
    page.fill("#f-px_per_cm", "8")
    page.click("text=Next: Regions")
    page.wait_for_url("**/regions/bench/")
    assert Season(folder).settings.cameras["bench"].px_per_cm == 8
    page.goto("/setup/season/")
    page.fill("#f-title", "Another")
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    page.locator(".steps a").nth(2).click()
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]
    assert page.input_value("#f-title") == "Another"
    page.click("form button.main")
    page.wait_for_selector("text=Season: Another")
    page.locator(".steps a").nth(2).click()
    page.wait_for_url("**/setup/aim/bench/")
    assert asked == ["beforeunload"]


def test_a_new_kind_keeps_the_scale_and_takes_the_old_kind_s_settings_out(browser, tmp_path):
    folder = make_season(tmp_path / "bench").folder
    with served(folder) as address:
        page = opened(browser, address, LAPTOP)
        page.goto("/setup/camera/bench/")
        page.check("input[value=usb]")
        page.fill("#f-usb-width", "1920")
        page.fill("#f-usb-height", "1080")
        page.locator("#camera-form button", has_text="Save").last.click()
        page.wait_for_selector("#notes .note")
        page.check("input[value=watched]")
        page.fill("#f-watched-folder", "inbox")
        page.locator("#camera-form button", has_text="Save").last.click()
        page.wait_for_selector("text=Watched folder (season.toml)")
        page.context.close()
    camera = Season(folder).settings.cameras["bench"]
    assert (camera.kind, camera.folder, camera.px_per_cm) == ("watched", "inbox", 10)


def test_a_camera_s_password_is_kept_in_a_file_that_only_its_owner_reads(browser, tmp_path):
    folder = make_season(tmp_path / "bench").folder
    with served(folder) as address:
        page = opened(browser, address, LAPTOP)
        page.goto("/setup/camera/bench/")
        page.check("input[value=http]")
        page.fill("#f-http-url", "http://127.0.0.1:9/still.jpg")
        page.fill("#f-http-user", "grower")
        page.fill("#f-password", "open sesame")
        page.locator("#camera-form button", has_text="Save").last.click()
        page.wait_for_selector("#notes .note")
        page.context.close()
    file = folder / "bench-password"
    assert file.read_text() == "open sesame\n"
    assert file.stat().st_mode & 0o077 == 0
    assert "open sesame" not in (folder / "season.toml").read_text()
    assert Season(folder).settings.cameras["bench"].password_file == "bench-password"


def test_a_whole_stretch_of_a_folder_that_is_played_again_is_told_and_then_filed(browser, tmp_path):
    """Frames of other days stay away, those filed before are not filed twice."""
    old = tmp_path / "old"
    old.mkdir()
    days = ("20200418", "20200419", "20200420", "20200421")
    for seed, (day, hour) in enumerate((d, h) for d in days for h in ("09", "12")):
        content = encoded(bench_picture([], size=(64, 48), seed=seed), "JPEG")
        (old / f"{day}T{hour}0000Z.jpg").write_bytes(content)
    (old / "21200101T090000Z.jpg").write_bytes(content)  # later than today
    settings = '[season]\ntitle = "T"\ntime_zone = "UTC"\nsown = 2020-03-01\n\n'
    settings += f'[cameras.bench]\nkind = "replay"\nfolder = "{old}"\n'
    folder = make_season(tmp_path / "bench", settings).folder
    trust(folder)
    with served(folder, datetime.now(UTC)) as address:
        page = opened(browser, address, PHONE)
        page.goto("/setup/first/")
        told = page.locator(".would-file")
        assert "8 frames of 4 days would be filed" in told.inner_text()
        assert "1 dated later than today" in page.locator(".replayed").inner_text()
        page.get_by_label("From", exact=True).fill("2020-04-19")
        page.get_by_label("Until, that day too").fill("2020-04-20")
        page.get_by_role("button", name="Say what would be filed").click()
        page.wait_for_url("**/setup/first/?since*")
        assert "4 frames of 2 days would be filed" in told.inner_text()
        box = told.bounding_box()
        assert box["y"] >= 0 and box["y"] + box["height"] < PHONE["height"] - 53
        assert page.evaluate("document.activeElement.className") == "would-file"
        assert findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        page.get_by_role("button", name="File these 4 frames").click()
        page.wait_for_selector("text=filed 4 frames")
        work_done(page)
        season = Season(folder)
        filed = [f"{frame.taken_at:%Y%m%dT%H}" for frame in season.catalogue.frames()]
        season.catalogue.close()
        assert filed == ["20200419T09", "20200419T12", "20200420T09", "20200420T12"]
        page.goto("/setup/first/")
        assert "4 frames of 2 days would be filed" in told.inner_text()
        assert "4 are there already" in told.inner_text()
        assert page.told == []
        page.context.close()


def test_of_pictures_brought_in_each_that_is_not_filed_is_named_with_its_reason(browser, tmp_path):
    """A page that says "Nothing was written" would be untrue: the others are on disk."""
    settings = '[season]\ntitle = "T"\ntime_zone = "UTC"\nsown = 2020-03-01\n\n'
    settings += '[cameras.bench]\nkind = "files"\n'
    folder = make_season(tmp_path / "bench", settings).folder
    whole = stamped(bench_picture([]), datetime(2020, 4, 20, 9))
    given = {"one.jpg": whole, "empty.jpg": b"", "no time.jpg": stamped(bench_picture([]), None),
             "half.jpg": whole[: len(whole) // 2], "copy.jpg": whole}  # fmt: skip
    sent = [{"name": n, "mimeType": "image/jpeg", "buffer": data} for n, data in given.items()]
    with served(folder, datetime.now(UTC)) as address:
        page = opened(browser, address, LAPTOP)
        page.goto("/setup/aim/bench/")
        page.set_input_files("#f-pictures", sent)
        page.click("text=File them")
        page.wait_for_selector("#notes .refusal")
        told = page.inner_text("#notes")
        assert page.locator("h1").inner_text() == "Aim"
        page.set_input_files("#f-pictures", sent[:1] * 21)
        page.click("text=File them")
        page.wait_for_selector("text=20 files at most")
        page.context.close()
    season = Season(folder)
    assert season.catalogue.number_of_frames("bench") == 1
    assert "1 filed, 1 was there already, 3 not filed:" in told
    assert "Nothing was written" not in told and "--" not in told
    empty, timeless, half = told.splitlines()[-3:]
    assert empty == "empty.jpg: the file is empty (0 bytes)"
    assert timeless.startswith("no time.jpg: no time in its EXIF data; choose the file as the")
    assert half.startswith("half.jpg: truncated or damaged")


def stamped(rgb, taken):
    """A JPEG, with the time at which it was taken unless that is None."""
    exif, stream = Image.Exif(), io.BytesIO()
    if taken:
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = f"{taken:%Y:%m:%d %X}"
    Image.fromarray(rgb).save(stream, "JPEG", exif=exif)
    return stream.getvalue()


def test_privacy_areas_are_drawn_by_keys_as_the_page_says(browser, tmp_path):
    old = tmp_path / "old"
    old.mkdir()
    (old / "20200420T090000Z.png").write_bytes(encoded(bench_picture([], ground=(200, 200, 200))))
    settings = '[season]\ntitle = "T"\ntime_zone = "UTC"\nsown = 2020-03-01\n\n'
    settings += f'[cameras.bench]\nkind = "replay"\nfolder = "{old}"\n'
    folder = make_season(tmp_path / "bench", settings).folder
    with served(folder, datetime.now(UTC)) as address:
        page = opened(browser, address, PHONE)
        page.goto("/setup/aim/bench/")
        page.wait_for_selector("#live:not([hidden])")
        told = page.locator("#how-to-draw").inner_text()
        assert all(word in told for word in ("By finger", "By mouse", "By keys", "Enter"))
        page.click("#draw-privacy")
        view = page.locator("#privacy .board-view")
        assert view.get_attribute("aria-describedby") == "how-to-draw"
        view.focus()
        for step in ("ArrowRight", "ArrowDown", "ArrowLeft", "ArrowUp"):
            page.keyboard.press("Enter")
            page.keyboard.press(f"Shift+{step}")
        page.keyboard.press("Enter")
        page.click("text=Save the areas")
        page.wait_for_selector("text=1 privacy area (season.toml)")
        page.context.close()
    (area,) = Season(folder).settings.cameras["bench"].privacy
    assert len(area) == 4


def test_privacy_areas_are_drawn_on_the_live_picture_and_black_in_the_next(browser, tmp_path):
    old = tmp_path / "old"
    old.mkdir()
    white = bench_picture([], ground=(200, 200, 200))
    (old / "20200420T090000Z.png").write_bytes(encoded(white))
    settings = '[season]\ntitle = "T"\ntime_zone = "UTC"\nsown = 2020-03-01\n\n'
    settings += f'[cameras.bench]\nkind = "replay"\nfolder = "{old}"\n'
    folder = make_season(tmp_path / "bench", settings).folder
    with served(folder, datetime.now(UTC)) as address:
        page = opened(browser, address, LAPTOP)
        page.goto("/setup/aim/bench/")
        page.wait_for_selector("#live:not([hidden])")
        page.click("#draw-privacy")
        view = page.locator("#privacy .board-view")
        view.evaluate("view => view.scrollIntoView({ block: 'center' })")
        box = view.bounding_box()
        scale = box["width"] / 320
        for x, y in ((10, 10), (110, 10), (110, 90), (10, 90), (10, 10)):
            page.mouse.click(box["x"] + x * scale, box["y"] + y * scale)
        page.click("text=Save the areas")
        page.wait_for_selector("text=1 privacy area (season.toml)")
        page.wait_for_selector("#live:not([hidden])")
        colours = page.evaluate(LEVELS)
        page.context.close()
    assert colours[0] < 12
    assert colours[1] > 150
    camera = Season(folder).settings.cameras["bench"]
    assert camera.privacy_size_px == (320, 240)
    assert len(camera.privacy[0]) == 4


@pytest.mark.parametrize(
    ("way", "fields", "first", "last"),
    [
        ("lamp", {"lamp_on": "06:00", "lamp_off": "22:00"}, "06:15", "21:55"),
        ("lamp", {"lamp_on": "20:00", "lamp_off": "14:00"}, "00:15", "13:55"),
        ("clock", {"from": "07:30", "until": "19:00"}, "07:30", "19:00"),
    ],
)
def test_times_are_written_as_the_clock_or_the_lamp_has_them(
    page, desk, folder, way, fields, first, last
):
    page.goto("/setup/times/")
    page.check(f"input[value={way}]")
    for name, value in fields.items():
        page.fill(f"#f-{name}", value)
    page.click("form#times-form button.main")
    page.wait_for_selector("#notes .note")
    table = Season(folder).settings.capture
    assert (f"{table.first:%H:%M}", f"{table.last:%H:%M}") == (first, last)


def test_a_scale_by_two_taps_is_what_the_frame_s_px_say(page, folder):
    page.goto("/setup/scale/bench/")
    page.click("#way-chips [data-way=length]")
    tap(page, board_of(page), (40, 120), (240, 120))
    page.fill("#f-length_cm", "50")
    page.click("form[data-way=length] button.main")
    page.wait_for_selector("#notes .note")
    said = page.inner_text("#result")
    camera = Season(folder).settings.cameras["bench"]
    (x1, _), (x2, _) = camera.scale_points
    assert abs((x2 - x1) - 200) <= 2
    assert camera.px_per_cm is None
    assert said.startswith("One px is 2.5 mm; the picture shows 0.8")


def test_another_s_change_between_page_and_save_is_told_and_stays(page, folder):
    page.goto("/setup/times/")
    file = folder / "season.toml"
    by_hand = file.read_text().replace('title = "Test bench"', 'title = "Roof"')
    file.write_text(by_hand)
    page.fill("#f-from", "09:15")
    page.click("form#times-form button.main")
    assert "Somebody else was quicker" in page.inner_text("h1")
    assert file.read_text() == by_hand


def test_a_time_zone_that_is_none_keeps_what_was_typed_and_offers_the_nearest(browser, tmp_path):
    (tmp_path / "bench").mkdir()
    with served(tmp_path / "bench") as address:
        page = opened(browser, address, PHONE)
        page.goto("/setup/season/")
        page.fill("#f-title", "Roof")
        page.fill("#f-sown", "2031-03-01")
        page.fill("#f-time_zone", "Etc/GTM")
        page.click("text=Make the season")
        assert 'Do you mean "Etc/GMT' in page.inner_text(".refusal")
        assert page.input_value("#f-title") == "Roof"
        assert page.input_value("#f-sown") == "2031-03-01"
        assert not (tmp_path / "bench" / "season.toml").exists()
        page.get_by_role("button", name="Take Etc/GMT").click()
        page.wait_for_url("**/setup/camera/bench/")
        page.context.close()
    assert Season(tmp_path / "bench").settings.season.time_zone.startswith("Etc/GMT")


def test_after_signing_in_one_is_where_one_wanted_to_go_but_never_elsewhere(browser, folder):
    with served(folder, password_hash=hashed("a long enough one")) as address:
        page = opened(browser, address, PHONE)
        page.goto("/frames/?day=2031-04-04")
        page.fill("#password", "a long enough one")
        page.click("main button")
        assert page.url == f"{address}/frames/?day=2031-04-04"
        page.goto("/sign-in?to=//elsewhere.example/")
        assert page.url == f"{address}/"
        page.context.close()


def test_pictures_before_the_sowing_day_are_told_and_a_tap_moves_it(page, folder):
    settings, regions = folder / "season.toml", folder / "regions.toml"
    settings.write_text(settings.read_text().replace("2031-03-25", "2031-04-04"))
    regions.write_text(re.sub(r"from = \S+", "from = 2031-04-04", regions.read_text()))
    page.goto("/setup/aim/")
    page.click("#early button")
    page.wait_for_selector("#notes .note")
    season = Season(folder)
    assert season.settings.season.sown == date(2031, 4, 1)
    starts = {region.outline[0].valid_from for region in season.regions.region}
    assert starts == {date(2031, 4, 1)} and page.locator("#early").count() == 0
    page.click("#notes button")
    page.wait_for_selector("#early")
    assert "sown = 2031-04-04" in settings.read_text()


def test_the_command_for_every_day_works_from_anywhere_and_the_unit_is_there(
    page, folder, tmp_path
):
    page.goto("/setup/first/")
    program, *words = shlex.split(page.inner_text("#run-command"))
    assert words == ["run", "--season", str(folder.resolve())]
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    check = [program, "check", *words[1:], "--json"]
    told = subprocess.run(check, cwd=elsewhere, capture_output=True, text=True)
    assert "findings" in told.stdout, told.stderr
    assert "[Service]" in Path(page.inner_text("#unit")).read_text()


def test_undo_brings_the_very_bytes_back(page, folder):
    before = (folder / "season.toml").read_bytes()
    page.goto("/setup/season/")
    page.fill("#f-title", "Another name")
    page.click("text=Save")
    page.wait_for_selector("text=Season: Another name")
    assert (folder / "season.toml").read_bytes() != before
    page.click("#notes button")
    page.wait_for_selector("#notes .note")
    assert (folder / "season.toml").read_bytes() == before


def test_no_file_of_the_machine_can_be_named_as_a_password_at_the_desk(page, folder):
    before = (folder / "season.toml").read_bytes()
    page.goto("/setup/camera/bench/")
    page.check("input[value=http]")
    page.fill("#f-http-url", "http://127.0.0.1:9/still.jpg")
    page.fill("#f-http-user", "grower")
    page.fill("#f-http-password_file", "/etc/shadow")
    page.locator("#camera-form button", has_text="Save").last.click()
    assert "ends in -password" in page.inner_text(".refusal")
    assert (folder / "season.toml").read_bytes() == before


def test_a_folder_that_holds_only_the_desk_s_password_can_still_be_founded(tmp_path):
    folder = tmp_path / "bench"
    keep_password(folder / ".desk" / "password", "a long enough one")
    found_season(folder, "Roof", "UTC", date(2031, 3, 1))
    assert Season(folder).settings.season.title == "Roof"
    assert (folder / ".desk" / "password").exists()


def test_the_camera_is_let_go_when_the_page_is_left(tmp_path, replayed):
    settings = '[season]\ntitle = "T"\ntime_zone = "UTC"\nsown = 2020-03-01\n\n'
    settings += f'[cameras.bench]\nkind = "replay"\nfolder = "{replayed}"\n'
    folder = make_season(tmp_path / "bench", settings, "").folder

    @contextmanager
    def opened_season():
        season = Season(folder)
        yield season
        season.catalogue.close()

    lookout, before = Lookout(opened_season), set(threading.enumerate())
    lookout.ask("bench")
    alive = [
        each for each in set(threading.enumerate()) - before if each.name.startswith("lookout")
    ]
    assert len(alive) == 1
    lookout.leave()
    alive[0].join(10)
    assert not alive[0].is_alive()
    assert lookout.once("bench").look.width == 960


def test_a_camera_is_never_open_twice_however_many_ask_for_a_picture(
    tmp_path, replayed, monkeypatch
):
    settings = '[season]\ntitle = "T"\ntime_zone = "UTC"\nsown = 2020-03-01\n\n'
    settings += f'[cameras.bench]\nkind = "replay"\nfolder = "{replayed}"\n'
    folder = make_season(tmp_path / "bench", settings, "").folder
    monkeypatch.setattr("lapsekit.desk.lookout.EVERY_S", 0.0)
    device, is_open, together = threading.Lock(), [], []

    class OnlyOnce:
        """A device; its picture takes long enough for others to come."""

        def __init__(self, *_):
            pass

        def take(self, at):
            if not device.acquire(blocking=False):
                together.append(at)
                raise CameraError("the device is open already")
            is_open.append(at)
            time.sleep(0.05)
            device.release()
            return Shot(GOOD.read_bytes(), at)

    monkeypatch.setattr("lapsekit.cameras.open_camera", OnlyOnce)

    @contextmanager
    def opened_season():
        season = Season(folder)
        yield season
        season.catalogue.close()

    lookout, ended = Lookout(opened_season), threading.Event()

    def ask():
        while not ended.is_set():
            lookout.ask("bench")
            ended.wait(0.01)

    asking = threading.Thread(target=ask)
    asking.start()
    with ThreadPoolExecutor(4) as threads:
        sights = list(threads.map(lambda _: lookout.once("bench"), range(8)))
    ended.set()
    asking.join()
    lookout.stop()
    assert together == [] and len(is_open) >= 8
    assert len({sight.number for sight in sights}) == 8
    with pytest.raises(KeyError):
        lookout.alone("bench", lambda: {}["what it raises is told"])
