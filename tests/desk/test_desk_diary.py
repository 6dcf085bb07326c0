"""The diary's pages: what a tap writes, what a change keeps, and photographs without metadata."""

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from urllib.request import urlopen

import pytest
from PIL import Image

from lapsekit.catalogue import stand_in
from lapsekit.desk import photographs
from lapsekit.diary import parse_diary, read_diary
from lapsekit.edits.diary_text import with_changed_event
from lapsekit.errors import PictureError
from tests.axe import findings
from tests.desk.conftest import PHONE, served

BY_HAND = (
    "# what I did\r\n"
    "date,event,region,note,who\r\n"
    '2031-04-01,sown,basil,"three, or four",Ann\r\n'
    "\r\n"
    "2031-04-02,watered,,,Bob\r\n"
)


def written(folder):
    return (folder / "diary.csv").read_bytes().decode()


def photograph(size=(2400, 1200), orientation=6):
    """A JPEG with a red left half that says it is turned, and where it was taken."""
    picture = Image.new("RGB", size, "white")
    picture.paste("red", (0, 0, size[0] // 2, size[1]))
    exif = picture.getexif()
    exif[0x0112] = orientation
    exif.get_ifd(0x8825)[2] = (52.0, 31.0, 12.0)
    exif[0x010E] = "SECRET PLACE"
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_one_tap_writes_one_line_and_undo_gives_the_bytes_back(page, folder):
    (folder / "diary.csv").write_bytes(BY_HAND.encode())
    page.goto("/diary/")
    page.get_by_role("button", name="watered", exact=True).click()
    assert written(folder) == BY_HAND + "2031-04-05,watered,,,\r\n"
    assert "whole bench: watered noted" in page.locator(".note").inner_text()
    page.get_by_role("button", name="Undo").click()
    assert written(folder) == BY_HAND


def test_regions_that_are_chosen_get_a_line_each(page, folder):
    page.goto("/diary/")
    page.get_by_label("basil").check()
    page.get_by_label("chives").check()
    page.get_by_label("Day", exact=True).fill("2031-04-03")
    page.get_by_role("button", name="potted on").click()
    events, problems = read_diary(folder / "diary.csv")
    told = [(str(e.day), e.region, e.what) for e in events]
    assert told == [("2031-04-03", r, "potted on") for r in ("basil", "chives")]
    assert problems == []


@pytest.mark.parametrize(
    ("day", "copies", "told"),
    [
        ("2031-04-05", 0, "Saturday, 2031-04-05"),
        ("2031-04-06", 1, "date = 2031-04-06 has not come yet"),
    ],
)
def test_frames_of_a_read_only_season_are_looked_at_for_lines_ahead_alone(
    folder, monkeypatch, day, copies, told
):
    """Its catalogue would have to be copied for each page."""
    (folder / "diary.csv").write_text(f"date,region,event,note\n{day},basil,fed,\n")
    made = []
    monkeypatch.setattr("os.access", lambda path, _: path != folder)
    monkeypatch.setattr("lapsekit.season.stand_in", lambda p: made.append(p) or stand_in(p))
    with served(folder) as address, urlopen(f"{address}/diary/") as page:
        assert told in page.read().decode()
    assert len(made) == copies


def test_a_line_of_no_region_is_not_called_passed_over(page, folder):
    (folder / "diary.csv").write_text("date,region,event,note\n2031-04-02,nobody,fed,x\n")
    page.goto("/diary/")
    told = page.inner_text("main")
    assert "Lines of regions that there are not" in told
    assert "passed over" not in told


def test_a_line_of_a_day_to_come_is_told_and_not_listed_as_done(page, folder):
    lines = "2031-04-02,basil,fed,done\n2031-05-02,basil,fed,not yet\n"
    (folder / "diary.csv").write_text(f"date,region,event,note\n{lines}")
    page.goto("/diary/")
    told = page.locator("section", has_text="Lines of days to come").inner_text()
    assert "line 3, date = 2031-05-02 has not come yet" in told
    assert "before their day has come" in told
    assert page.locator(".events li").count() == 1


def test_a_line_of_a_day_to_come_that_is_written_as_text_is_told(page, folder):
    page.goto("/settings/text/diary.csv")
    page.locator("textarea").fill("date,region,event,note\n2031-05-02,basil,fed,\n")
    page.get_by_role("button", name="Save").click()
    page.wait_for_selector(".note:has-text('line 2, date = 2031-05-02 has not come yet')")


def test_what_is_written_while_the_settings_are_broken_is_not_called_refused(page, folder):
    page.goto("/settings/text/diary.csv")
    (folder / "season.toml").write_text("[season\n")
    page.locator("textarea").fill("date,region,event,note\n2031-05-02,basil,fed,\n")
    page.get_by_role("button", name="Save").click()
    page.wait_for_selector(".note:has-text('diary.csv edited as text')")
    assert "2031-05-02,basil,fed" in written(folder)
    page.locator(".note").get_by_role("button", name="Undo").click()
    page.wait_for_selector(".note:has-text('Undone')")
    assert not (folder / "diary.csv").exists()


def test_a_season_that_is_played_back_is_kept_up_to_its_newest_frame(folder, browser):
    with served(folder, now=datetime(2026, 11, 29, tzinfo=UTC)) as address:
        context = browser.new_context(base_url=address)
        page = context.new_page()
        page.goto("/diary/")
        page.get_by_label("Day", exact=True).fill("2031-04-05")
        page.get_by_role("button", name="watered", exact=True).click()
        page.wait_for_selector(".note")
        assert "2031-04-05,,watered," in written(folder)
        assert page.locator(".events li").count() == 1
        page.get_by_label("Day", exact=True).evaluate("box => box.removeAttribute('max')")
        page.get_by_label("Day", exact=True).fill("2031-04-06")
        page.get_by_role("button", name="watered", exact=True).click()
        told = page.locator(".refusal").inner_text()
        assert "has not come yet (the newest frame is of 2031-04-05)" in told
        context.close()


def test_a_height_without_centimetres_asks_for_them_first(page, folder):
    page.goto("/diary/")
    page.get_by_label("basil").check()
    page.get_by_role("button", name="height", exact=True).click()
    assert not (folder / "diary.csv").exists()
    assert page.evaluate("document.activeElement.id") == "height"
    page.keyboard.type("12,5")
    page.get_by_role("button", name="height", exact=True).click()
    assert "2031-04-05,basil,height,12.5 cm" in written(folder)


def test_what_is_missing_is_asked_for_right_above_its_field(page, folder):
    page.goto("/diary/")
    page.get_by_role("button", name="height", exact=True).click()
    asked = page.locator("#asks")
    assert "Write the height in cm" in asked.inner_text()
    both = [each.bounding_box() for each in (asked, page.locator("#height"))]
    assert 0 <= both[1]["y"] - (both[0]["y"] + both[0]["height"]) < 60
    assert all(0 <= box["y"] < PHONE["height"] - 60 for box in both)


@pytest.mark.parametrize("field", ["Note", "Height, cm", "Weight, g", "Stage, BBCH 0–99", "Day"])
def test_enter_in_a_field_of_an_event_writes_nothing_unless_a_word_was_picked(page, folder, field):
    page.goto("/diary/")
    page.locator(".more summary").click()
    page.get_by_label(field, exact=True).press("Enter")
    page.wait_for_selector("text=Nothing is noted yet")
    assert not (folder / "diary.csv").exists()
    page.get_by_label("basil").press("Enter")
    assert not (folder / "diary.csv").exists()


def test_enter_in_the_height_notes_the_height_that_was_picked(page, folder):
    page.goto("/diary/")
    page.get_by_label("basil").check()
    page.get_by_role("button", name="height", exact=True).click()
    page.keyboard.type("12,5")
    page.keyboard.press("Enter")
    page.wait_for_selector(".note")
    assert "2031-04-05,basil,height,12.5 cm" in written(folder)
    assert "Basil: height noted" in page.locator(".note").inner_text()  # by its title


def test_enter_in_words_of_ones_own_notes_these_words(page, folder):
    page.goto("/diary/")
    page.locator(".more summary").click()
    page.get_by_label("Words of your own").fill("thinned them")
    page.keyboard.press("Enter")
    page.wait_for_selector(".note")
    assert written(folder).splitlines()[1:] == ["2031-04-05,,thinned them,"]


def test_without_scripts_enter_in_a_field_writes_no_word_of_the_diary(browser, desk, folder):
    context = browser.new_context(base_url=desk, java_script_enabled=False)
    page = context.new_page()
    page.goto("/")
    page.locator("summary").filter(has_text="Which plants").click()
    page.get_by_label("basil").press("Enter")
    assert not (folder / "diary.csv").exists()
    page.goto("/diary/")
    page.locator(".more summary").click()
    page.get_by_label("Note").fill("by the window")
    page.keyboard.press("Enter")
    assert "Nothing was written" in page.get_by_role("alert").inner_text()
    assert not (folder / "diary.csv").exists()
    page.get_by_label("Words of your own").fill("thinned them")
    page.keyboard.press("Enter")
    page.wait_for_selector(".note")
    assert written(folder).splitlines()[1:] == ["2031-04-05,,thinned them,by the window"]
    context.close()


def test_a_change_keeps_comments_columns_and_line_endings_of_a_hand(page, folder):
    (folder / "diary.csv").write_bytes(BY_HAND.encode())
    page.goto("/diary/")
    page.get_by_role("link", name="Change sown of 2031-04-01").click()
    page.get_by_label("Note").fill("five")
    page.get_by_role("button", name="Save").click()
    assert written(folder) == BY_HAND.replace('"three, or four"', "five")


def test_a_line_of_a_day_to_come_can_be_changed_and_keep_its_day(page, folder):
    head = "date,region,event,note\n"
    (folder / "diary.csv").write_text(head + "2031-05-02,basil,fed,half\n")
    page.goto("/diary/line/2")
    page.get_by_label("Note").fill("whole")
    page.get_by_role("button", name="Save").click()
    page.wait_for_selector(".note:has-text('2031-05-02 has not come yet (today is 2031-04-05)')")
    assert written(folder) == head + "2031-05-02,basil,fed,whole\n"
    page.goto("/diary/line/2")
    page.get_by_label("Day").fill("2031-05-01")
    page.get_by_role("button", name="Save").click()
    assert 'date "2031-05-01" has not come yet' in page.locator("main").inner_text()
    assert written(folder) == head + "2031-05-02,basil,fed,whole\n"


def test_an_event_that_a_hand_changed_meanwhile_is_told_and_nothing_is_lost(page, folder):
    (folder / "diary.csv").write_bytes(BY_HAND.encode())
    page.goto("/diary/line/3")
    by_hand = BY_HAND.replace("three, or four", "three of them")
    (folder / "diary.csv").write_bytes(by_hand.encode())
    page.get_by_label("Note").fill("five")
    page.get_by_role("button", name="Save").click()
    assert page.locator("h1").inner_text() == "Somebody else was quicker"
    assert written(folder) == by_hand


def test_a_line_that_a_hand_added_above_meanwhile_does_not_stand_in_the_way(page, folder):
    (folder / "diary.csv").write_bytes(BY_HAND.encode())
    page.goto("/diary/line/3")
    by_hand = BY_HAND.replace("# what I did", "# what I did\r\n# and saw")
    (folder / "diary.csv").write_bytes(by_hand.encode())
    page.get_by_label("Note").fill("five")
    page.get_by_role("button", name="Save").click()
    assert written(folder) == by_hand.replace('"three, or four"', "five")


def test_a_removed_event_comes_back_with_undo(page, folder):
    (folder / "diary.csv").write_bytes(BY_HAND.encode())
    page.goto("/diary/")
    page.get_by_role("button", name="Remove watered of 2031-04-02").click()
    assert written(folder) == BY_HAND.replace("2031-04-02,watered,,,Bob\r\n", "")
    page.get_by_role("button", name="Undo").click()
    assert written(folder) == BY_HAND


def test_photographs_are_upright_small_and_say_nothing_of_where_they_were_taken(page, folder):
    (folder / "diary.csv").write_bytes(BY_HAND.encode())
    page.goto("/diary/")
    page.locator(".more summary").click()
    files = [{"name": f"{n}.jpg", "mimeType": "image/jpeg", "buffer": photograph()} for n in "ab"]
    page.locator("#pictures").set_input_files(files)
    page.get_by_role("button", name="cold").click()
    last = list(csv.reader(io.StringIO(written(folder))))[-1]
    names = "diary/2031-04-05-1.jpg diary/2031-04-05-2.jpg"
    assert last == ["2031-04-05", "cold", "", "", "", names, ""]
    assert "date,event,region,note,who,picture,picture_on_site\r\n" in written(folder)
    content = (folder / "diary/2031-04-05-1.jpg").read_bytes()
    with Image.open(io.BytesIO(content)) as filed:
        assert filed.size == (1000, 2000)
        assert not filed.getexif()
        red = filed.getpixel((500, 200))  # its left half is up once it is turned
        assert red[0] > 200 and red[1] < 60
    assert b"SECRET" not in content
    shown = page.locator(".photographs img").first
    shown.scroll_into_view_if_needed()
    page.wait_for_function("e => e.complete && e.naturalWidth > 0", arg=shown.element_handle())


def test_a_photograph_stands_on_the_site_only_once_that_was_ticked(page, folder):
    page.goto("/diary/")
    page.locator(".more summary").click()
    sent = {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photograph((60, 40), 1)}
    page.locator("#pictures").set_input_files(sent)
    page.get_by_role("button", name="cut").click()
    assert [e.on_site for e in read_diary(folder / "diary.csv")[0]] == [False]
    page.get_by_role("link", name="Change cut").click()
    page.get_by_label("also on the site").check()
    page.get_by_role("button", name="Save").click()
    (event,) = read_diary(folder / "diary.csv")[0]
    assert event.on_site and event.pictures == ("diary/2031-04-05-1.jpg",)


def test_a_file_that_is_no_photograph_writes_nothing(page, folder):
    page.goto("/diary/")
    page.locator(".more summary").click()
    sent = {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": b"GIF89a not really"}
    page.locator("#pictures").set_input_files(sent)
    page.get_by_role("button", name="cut").click()
    assert "no photograph that can be read" in page.locator(".refusal").inner_text()
    assert not (folder / "diary.csv").exists() and not (folder / "diary").exists()


def test_a_picture_of_a_kind_that_no_phone_makes_is_refused():
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "TIFF")
    with pytest.raises(PictureError, match="JPEG, PNG or WebP"):
        photographs.cleaned(out.getvalue())


@pytest.mark.parametrize("name", ["../season.toml", "..%2fseason.toml", "none.jpg", ".desk", "%00"])
def test_a_photograph_is_looked_up_by_its_name_alone(page, name):
    answer = page.request.get(f"/diary/photograph/{name}")
    assert answer.status == 404


def test_a_column_picture_of_the_grower_s_own_keeps_what_stands_in_it():
    text = "date,region,event,note,picture\n2031-04-01,,cut,a,IMG_12\n"
    (event,), _ = parse_diary(text, Path("diary.csv"))
    assert event.pictures == ()
    now = replace(event, note="b", pictures=("diary/x.jpg",), on_site=True)
    assert with_changed_event(text, event, now) == (
        "date,region,event,note,picture,picture_on_site\n2031-04-01,,cut,b,diary/x.jpg IMG_12,yes\n"
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_diary_is_usable_by_everyone(page, folder, scheme):
    (folder / "diary.csv").write_bytes(BY_HAND.encode())
    page.emulate_media(color_scheme=scheme)
    for path in ("/diary/", "/diary/line/3"):
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        assert findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_words_and_chips_are_large_enough_for_a_thumb(page):
    page.goto("/diary/")
    sizes = page.evaluate(
        "[...document.querySelectorAll('.word-rows button, .chip span')]"
        ".map(e => e.getBoundingClientRect()).map(b => [b.width, b.height])"
    )
    assert len(sizes) == 15
    assert all(width >= 44 and height >= 44 for width, height in sizes)


def test_an_event_is_noted_by_keyboard_alone(page, folder):
    page.goto("/diary/")
    page.get_by_label("basil").focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="fed", exact=True).focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".note")
    assert "2031-04-05,basil,fed," in written(folder)


def test_an_event_that_was_picked_is_noted_with_words_of_ones_own(page, folder):
    """A height without a figure opens the words; they can go with it, or stand alone."""
    page.goto("/diary/")
    page.get_by_role("button", name="harvest", exact=True).click()
    assert not (folder / "diary.csv").exists()
    page.get_by_label("Words of your own").fill("for the soup")
    page.get_by_role("button", name="Note “harvest” with these words").click()
    assert "whole bench: harvest noted" in page.locator(".note").inner_text()
    assert written(folder).splitlines()[1:] == ["2031-04-05,,harvest,for the soup"]
    page.get_by_role("button", name="harvest", exact=True).click()
    page.get_by_label("Words of your own").fill("talked to them")
    page.get_by_role("button", name="Note these words alone").click()
    page.wait_for_selector(".note")
    assert written(folder).splitlines()[2:] == ["2031-04-05,,talked to them,"]


def test_without_scripts_a_refused_event_stays_picked_for_the_words(browser, desk, folder):
    context = browser.new_context(base_url=desk, java_script_enabled=False)
    page = context.new_page()
    page.goto("/diary/")
    page.get_by_role("button", name="height", exact=True).click()
    assert "For a height choose a region" in page.get_by_role("alert").inner_text()
    page.get_by_label("basil").check()
    page.get_by_label("Height, cm").fill("12")
    page.get_by_label("Words of your own").fill("by the new ruler")
    page.get_by_role("button", name="Note “height” with these words").click()
    assert "2031-04-05,basil,height,12 cm; by the new ruler" in written(folder)
    context.close()


def test_a_tap_that_is_made_twice_is_told_and_written_once(page, folder):
    page.goto("/diary/")
    for _ in range(2):
        page.get_by_role("button", name="watered", exact=True).click()
        page.wait_for_selector(".note, .refusal")
    told = page.locator(".refusal").inner_text()
    assert "2031-04-05, whole bench, watered: already stands in line 2" in told
    assert written(folder).splitlines()[1:] == ["2031-04-05,,watered,"]


def test_of_several_plants_those_that_lack_an_event_get_it_at_a_tap(page, folder):
    line = "2031-04-05,basil,watered,\n"
    (folder / "diary.csv").write_text(f"date,region,event,note\n{line}")
    page.goto("/diary/")
    page.get_by_label("basil").check()
    page.get_by_label("chives").check()
    page.get_by_role("button", name="watered", exact=True).click()
    told = page.locator(".note").inner_text()
    assert "chives: watered noted" in told.lower()
    assert "already in the diary, not written again: basil (line 2)" in told
    assert written(folder).splitlines()[1:] == [line.strip(), "2031-04-05,chives,watered,"]


def test_undoing_an_undo_is_called_doing_it_again(page, folder):
    page.goto("/diary/")
    page.get_by_role("button", name="watered", exact=True).click()
    noted = written(folder)
    page.get_by_role("button", name="Undo", exact=True).click()
    assert not (folder / "diary.csv").exists()
    page.goto("/changes/")
    buttons = page.locator(".changes button").all_inner_texts()
    assert buttons == ["Do it again"]
    page.get_by_role("button", name="Do it again").click()
    page.wait_for_selector(".changes em")
    assert written(folder) == noted
    assert page.locator(".changes button").all_inner_texts() == ["Undo", "Undo"]
    assert page.locator(".changes em").all_inner_texts() == ["(done again)"]
