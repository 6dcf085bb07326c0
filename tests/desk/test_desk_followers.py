"""Followers' pictures at the desk: looked at, decided, cropped, blurred, taken down."""

import io
from datetime import date

import numpy as np
import pytest
from PIL import Image

from lapsekit.followers.answering import with_answer, write_due
from lapsekit.followers.deciding import agree, correct, show, take_down, take_down_by_id
from lapsekit.followers.letters import Text
from lapsekit.followers.receiving import take_in
from lapsekit.followers.records import change, read_record, records
from lapsekit.followers.showing import shown
from lapsekit.followers.wordings import wording
from lapsekit.publishing import publish
from lapsekit.season import Season
from lapsekit.site.build import build_site
from lapsekit.trust import trust
from tests.axe import findings
from tests.desk.conftest import LAPTOP, PHONE
from tests.followers.arriving import FOLLOWERS, NOW, arrival, consent, encoded, quarters

HOSTILE = '<img src=x onerror="document.title=1"><script>document.title=1</script>\u202e"'


@pytest.fixture
def season(folder):
    """The season of `desk`, whose settings take pictures in."""
    file = folder / "season.toml"
    file.write_text(file.read_text() + FOLLOWERS)
    season = Season(folder)
    yield season
    season.catalogue.close()


def received(season, seed=1, **told):
    found = take_in(season, arrival(seed, **told))
    assert found.id, found.refused
    return found


def test_a_picture_is_shown_once_the_grower_says_yes_and_not_before(page, season):
    one, two = received(season), received(season, 2, name="Bo")
    assert shown(season) == []
    page.goto("/followers/")
    page.get_by_role("link", name="Ada").click()
    page.get_by_role("button", name="Show it").click()
    assert page.url.endswith(two.id)  # the next one that waits
    assert page.locator("#notes").inner_text().startswith("Ada's picture")
    assert [each.id for each in shown(season)] == [one.id]
    page.get_by_role("button", name="Decline").click()
    assert [each.id for each in records(season, "declined")] == [two.id]
    page.goto(f"/followers/{one.id}")
    page.get_by_role("button", name="Take that back").click()
    assert shown(season) == []


def test_after_a_yes_the_next_picture_says_that_the_site_is_still_to_be_built(page, season):
    one, two = received(season), received(season, 2, name="Bo")
    page.goto(f"/followers/{one.id}")
    assert page.get_by_role("button", name="Build the site now").count() == 0  # there is none yet
    build_site(season)
    page.goto(f"/followers/{one.id}")
    assert page.get_by_role("button", name="Build the site now").count() == 0  # nothing is decided
    page.get_by_role("button", name="Show it").click()
    assert page.url.endswith(two.id)
    page.get_by_role("button", name="Build the site now").click()
    page.wait_for_selector("text=Done.", timeout=90_000)
    assert any("Ada" in file.read_text() for file in season.site.rglob("*.html"))
    page.goto("/followers/")
    assert page.get_by_role("button", name="Build the site now").count() == 0
    take_down_by_id(season, one.id)
    page.goto("/followers/")
    assert page.get_by_role("button", name="Build the site now").count() == 1
    build_site(season)  # as the command does
    page.goto("/followers/")
    assert page.get_by_role("button", name="Build the site now").count() == 0


def test_where_the_site_goes_out_it_is_behind_until_it_was_sent(page, season, folder):
    settings = folder / "season.toml"
    settings.write_text(
        settings.read_text() + f'\n[publish]\nto = "folder"\ntarget = "{folder}-web"\n'
    )
    changed = Season(folder)
    one = received(changed)
    build_site(changed)
    show(changed, one.id)
    build_site(changed)
    page.goto("/followers/")
    assert page.get_by_role("button", name="Build and publish now").count() == 1
    trust(folder)
    (folder.parent / f"{folder.name}-web").mkdir()
    publish(changed, dry_run=True)
    page.reload()
    assert page.get_by_role("button", name="Build and publish now").count() == 1
    publish(changed)
    page.reload()
    assert page.get_by_role("button", name="Build and publish now").count() == 0
    changed.catalogue.close()


def test_the_grower_is_told_where_files_go_before_they_are_taken_in(page, season):
    page.goto("/followers/")
    assert "came/taken" not in page.get_by_role("main").inner_text()
    settings = season.folder / "season.toml"
    settings.write_text(settings.read_text().replace("[followers]", '[followers]\ninbox = "came"'))
    page.goto("/followers/")
    assert "the folder came is moved to came/taken" in page.get_by_role("main").inner_text()


def test_all_times_of_a_page_are_those_of_the_season_s_zone(page, season):
    one = received(season)
    assert season.zone.utcoffset(NOW).total_seconds() != 0
    here = NOW.astimezone(season.zone).strftime("%Y-%m-%d %H:%M")
    page.goto(f"/followers/{one.id}")
    assert f"{here} by" in page.locator(".facts").inner_text()
    assert page.locator(".changes time").first.inner_text() == read_record(season, one.id).history[
        0
    ].at.astimezone(season.zone).strftime("%Y-%m-%d %H:%M")


def test_what_nobody_agreed_to_cannot_be_shown_even_by_a_made_up_request(page, season):
    one = received(season, consent=None)
    child = received(season, 2, consent=consent(is_adult=False))
    for each in (one, child):
        page.goto(f"/followers/{each.id}")
        assert page.get_by_role("button", name="Show it").is_disabled()
        token = page.locator('meta[name="form-token"]').get_attribute("content")
        answer = page.request.post(f"/followers/{each.id}/show", form={"form_token": token})
        assert answer.status == 400
    assert shown(season) == []


def test_a_consent_that_is_missing_is_asked_for_in_a_letter_with_its_text_and_lines(page, season):
    one = received(season, consent=None, contact="ada@roof.example")
    page.goto(f"/followers/{one.id}")
    page.get_by_role("button", name="Ask for consent").click()
    assert "letter is written" in page.locator("#notes").inner_text()
    assert page.get_by_label("What is missing").input_value() == ""
    assert write_due(season) == 1
    (letter,) = read_record(season, one.id).answers
    assert "\nI agree: \n" in letter.text and wording(season, "en").text.strip() in letter.text
    agree(season, one.id, consent())
    page.goto(f"/followers/{one.id}")
    assert page.get_by_role("button", name="Ask for consent").count() == 0


def test_a_yes_to_words_that_changed_since_is_refused_and_says_so(page, season):
    one = received(season)
    page.goto(f"/followers/{one.id}")
    correct(season, one.id, caption="Something else")
    with page.expect_response("**/show") as answer:
        page.get_by_role("button", name="Show it").click()
    assert answer.value.status == 409 and shown(season) == []
    assert "look at it again" in page.get_by_role("main").inner_text()
    page.get_by_role("link", name="Open the page again").click()
    page.get_by_role("button", name="Show it").click()
    assert [each.id for each in shown(season)] == [one.id]


@pytest.mark.parametrize("is_shown", [False, True], ids=["waits", "is shown"])
def test_of_two_open_pages_the_older_does_not_take_back_what_the_other_kept(page, season, is_shown):
    one = received(season, data=encoded(quarters(), quality=95))
    if is_shown:
        show(season, one.id)
    stale = page.context.new_page()
    for each in (stale, page):
        each.goto(f"/followers/{one.id}")
    page.get_by_label("Shown part").fill("0 0 160 120")
    page.get_by_label("Blurred areas").fill("10 10 40 40")
    page.get_by_role("button", name="Keep part and areas").click()
    page.wait_for_selector("#notes .note")
    kept = read_record(season, one.id)
    stale.get_by_label("Blurred areas").fill("200 150 240 180")
    with stale.expect_response("**/areas") as answer:
        stale.get_by_role("button", name="Blur these").click()
    assert answer.value.status == 409
    assert "look at it again" in stale.get_by_role("main").inner_text()
    assert read_record(season, one.id) == kept and kept.crop == (0, 0, 160, 120)
    assert kept.blurred == (() if is_shown else ((10, 10, 40, 40),))
    stale.goto(f"/followers/{one.id}")
    stale.get_by_label("Blurred areas").fill("200 150 240 180")
    stale.get_by_role("button", name="Blur these").click()
    stale.wait_for_selector("#notes .note")
    assert read_record(season, one.id).crop == (0, 0, 160, 120)
    stale.close()


def test_names_and_captions_of_strangers_come_out_as_text(page, season):
    one = received(season, name=HOSTILE, caption=HOSTILE * 3, plant=HOSTILE, file_name=HOSTILE)
    received(season, 2, name="A" * 5000, caption="B" * 20_000)
    for address in ("/followers/", f"/followers/{one.id}"):
        page.goto(address)
        assert page.title() != "1"
        assert page.locator("main script, main img[src=x]").count() == 0
        assert page.get_by_text("<script>").first.is_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def drag(page, *ends):
    """Draw from one place of the picture to another, both in shares of it."""
    view = page.locator(".board-view").bounding_box()
    (x, y), (to_x, to_y) = [
        (view["x"] + x * view["width"], view["y"] + y * view["height"]) for x, y in ends
    ]
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(to_x, to_y, steps=4)
    page.mouse.up()


def as_kept(season, record_id):
    kept = (season.folder / "followers/shown" / record_id / "picture.jpg").read_bytes()
    return np.asarray(Image.open(io.BytesIO(kept)).convert("RGB")).astype(int)


@pytest.mark.parametrize("keeps_first", [True, False], ids=["kept first", "shown at once"])
def test_an_area_drawn_by_a_finger_is_blurred_for_good_once_it_is_shown(page, season, keeps_first):
    one = received(season, data=encoded(quarters(), quality=95))
    page.goto(f"/followers/{one.id}")
    page.get_by_role("button", name="Blur an area").click()
    drag(page, (0.25, 0.25), (0.75, 0.75))
    box = page.get_by_label("Blurred areas").input_value()
    assert np.allclose([int(n) for n in box.split()], (80, 60, 240, 180), atol=2)
    assert "Not kept yet: what is blurred" in page.locator("#drawn").inner_text()
    if keeps_first:
        page.get_by_role("button", name="Blur these").click()
        assert page.locator("#drawn").is_hidden()
    page.get_by_role("button", name="Show it").click()
    page.wait_for_selector("#notes .note")
    picture = as_kept(season, one.id)
    assert np.abs(picture[20, 20] - picture[20, 300]).max() > 100  # outside it is sharp
    edge = np.abs(np.diff(picture[90, 150:170], axis=0)).max()
    assert edge < 40  # the edge between two quarters is gone


def test_a_part_and_an_area_drawn_one_after_the_other_are_both_shown(page, season):
    one = received(season, data=encoded(quarters(), quality=95))
    page.goto(f"/followers/{one.id}")
    page.get_by_role("button", name="Choose a part").click()
    drag(page, (0.1, 0.1), (0.9, 0.9))
    page.get_by_role("button", name="Blur an area").click()
    drag(page, (0.25, 0.25), (0.75, 0.75))
    page.get_by_role("button", name="Show it").click()
    page.wait_for_selector("#notes .note")
    assert np.allclose(read_record(season, one.id).crop, (32, 24, 288, 216), atol=2)
    assert np.abs(np.diff(as_kept(season, one.id)[90, 150:170], axis=0)).max() < 40


def test_without_scripts_areas_typed_beside_a_yes_are_blurred(browser, desk, season):
    one = received(season, data=encoded(quarters(), quality=95))
    context = browser.new_context(base_url=desk, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"/followers/{one.id}")
    page.get_by_label("Blurred areas").fill("80 60 240 180")
    page.get_by_role("button", name="Show it").click()
    assert np.abs(np.diff(as_kept(season, one.id)[90, 150:170], axis=0)).max() < 40
    context.close()


def test_an_area_that_cannot_be_stands_in_the_way_of_a_yes(page, season):
    one = received(season)
    page.goto(f"/followers/{one.id}")
    page.get_by_label("Blurred areas").fill("0 0 9999 9999")
    page.get_by_role("button", name="Show it").click()
    assert "does not lie in the picture" in page.get_by_role("main").inner_text()
    assert shown(season) == []


def test_what_was_drawn_is_left_only_when_the_grower_says_so(page, season):
    one = received(season)
    page.goto(f"/followers/{one.id}")
    page.get_by_role("button", name="Blur an area").click()
    drag(page, (0.25, 0.25), (0.75, 0.75))
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    page.get_by_role("button", name="Correct", exact=True).click(no_wait_after=True)
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"] and page.get_by_label("Blurred areas").input_value()
    page.get_by_role("button", name="Leave it as it was").click()
    assert page.get_by_label("Blurred areas").input_value() == ""
    page.get_by_role("button", name="Correct", exact=True).click()
    page.wait_for_selector("#notes .note")
    assert len(asked) == 1


def test_by_keys_alone_a_part_is_chosen_and_kept(page, season):
    one = received(season, data=encoded(quarters(), quality=95))
    page.goto(f"/followers/{one.id}")
    page.get_by_role("button", name="Choose a part").focus()
    page.keyboard.press("Enter")
    page.locator(".board-view").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press(" ")
    for _ in range(3):
        page.keyboard.press("Shift+ArrowRight")
        page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press(" ")
    left, top, right, bottom = map(int, page.get_by_label("Shown part").input_value().split())
    assert right - left > 60 and bottom - top > 60
    page.get_by_role("button", name="Keep this part").press("Enter")
    assert read_record(season, one.id).crop == (left, top, right, bottom)


def test_a_damaged_picture_is_refused_and_its_page_still_opens(page, season):
    one = received(season)
    (season.folder / "followers/waiting" / one.id / "picture.jpg").write_bytes(b"damaged")
    answer = page.request.get(f"/followers/{one.id}/picture?side=240")
    assert answer.status == 400 and "is damaged" in answer.text()
    assert page.request.get(f"/followers/{one.id}").ok


def test_a_letter_that_was_sent_by_hand_keeps_no_code(page, season):
    one = received(season, by="folder")
    letters = [Text("First", f"Your code: {one.code}\n[ref-0123456789ABCDEF]"), Text("Second", "x")]
    for text in letters:
        change(season, one.id, "", lambda r, text=text: with_answer(r, "received", text, NOW))
    page.goto(f"/followers/{one.id}")
    first = page.locator("details").filter(has_text="First")
    assert one.code in first.inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    first.get_by_role("button", name="I sent this").click()
    assert "Noted as sent" in page.locator("#notes").inner_text()
    assert one.code not in page.content() and "ref-0123" not in page.content()
    kept = (season.folder / "followers/waiting" / one.id / "record.json").read_text()
    assert one.code not in kept and "ref-0123" not in kept
    assert [each.sent_at is None for each in read_record(season, one.id).answers] == [False, True]
    assert page.get_by_role("button", name="I sent this").count() == 1
    assert take_down(season, one.code) == one.id  # the code itself counts as before


def test_ours_of_the_same_age_stands_beside_it(page, season):
    """Ours was sown on 25 March: ten days old on 4 April, never fifty; last seen on 5 April."""
    young = received(season, sown=date(2031, 5, 1), taken_on=date(2031, 5, 11))
    old = received(season, 2, sown=date(2031, 3, 30), taken_on=date(2031, 5, 19))
    near = received(season, 3, sown=date(2031, 5, 1), taken_on=date(2031, 5, 14))
    page.goto(f"/followers/{young.id}")
    ours = page.get_by_role("img", name="Our Basil when it was as old")
    assert ours.evaluate("image => image.complete && image.naturalWidth") > 100
    assert "10 days old, on 2031-04-04" in page.locator("figcaption").inner_text()
    page.goto(f"/followers/{near.id}")  # thirteen days: the nearest that there is, as on the site
    assert "11 days old, on 2031-04-05" in page.locator("figcaption").inner_text()
    page.goto(f"/followers/{old.id}")
    assert page.get_by_text("Ours at that age").count() == 0


def test_with_the_code_a_picture_is_deleted_and_a_wrong_one_deletes_nothing(page, season):
    one = received(season)
    page.goto("/followers/")
    page.get_by_label("The code").fill("ABCD-EFGH-JKMN-PQRS")
    page.get_by_role("button", name="Delete that picture").click()
    assert "No picture has that code" in page.get_by_role("alert").inner_text()
    assert page.get_by_label("The code").input_value() == "ABCD-EFGH-JKMN-PQRS"
    page.get_by_label("The code").fill("")
    assert [each.id for each in records(season)] == [one.id]
    page.goto("/followers/")
    page.get_by_label("The code").fill(one.code.lower())
    page.get_by_role("button", name="Delete that picture").click()
    assert records(season) == []
    assert not list((season.folder / "followers").rglob("*.jpg"))


def test_a_region_that_is_none_of_ours_is_refused_whole_and_said(page, season):
    one = received(season)
    page.goto(f"/followers/{one.id}")
    token = page.locator('meta[name="form-token"]').get_attribute("content")
    told = {"form_token": token, "name": "Bo", "region": "../x"}
    answer = page.request.post(f"/followers/{one.id}/correct", form=told)
    assert answer.status == 400 and "none of regions.toml" in answer.text()
    assert read_record(season, one.id).name == "Ada"


def test_deleting_asks_first(page, season):
    one = received(season)
    page.goto(f"/followers/{one.id}")
    page.get_by_role("button", name="Delete", exact=True).click()  # the browser asks for the tick
    assert [each.id for each in records(season)] == [one.id]
    page.get_by_label("cannot be had back").check()
    page.get_by_role("button", name="Delete", exact=True).click()
    assert records(season) == []


@pytest.mark.parametrize("viewport", [PHONE, LAPTOP], ids=["phone", "laptop"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_and_nothing_is_wider_than_the_screen(
    browser, desk, season, viewport, scheme
):
    one = received(season)
    received(season, 2, consent=None)
    context = browser.new_context(
        viewport=viewport, base_url=desk, color_scheme=scheme, bypass_csp=True
    )
    page = context.new_page()
    for address in ("/followers/", f"/followers/{one.id}"):
        page.goto(address)
        assert findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    context.close()


def test_no_request_leads_to_another_file(page, season):
    received(season)
    (season.folder / "followers" / "secret.jpg").write_bytes(b"x")
    for path in ("..", "../secret", "%2e%2e", "..%2f..%2fseason.toml", "0" * 16, "a" * 3000):
        for tail in ("", "/picture", "/picture?side=240"):
            answer = page.request.get(f"/followers/{path}{tail}")
            assert answer.status in (400, 404) or answer.url.endswith("/"), path
            assert "[season]" not in answer.text()
    assert page.request.get("/followers/?state=../x").status == 404
