"""Pictures sent by a real browser through the upload page, down to the record that waits."""

import re
from datetime import date

import pytest
from PIL import Image

from lapsekit.followers.codes import as_code
from lapsekit.followers.deciding import cannot_be_shown, show
from lapsekit.followers.records import read_picture, records
from lapsekit.followers.wordings import wording
from tests.axe import findings
from tests.browsing import opened
from tests.scenes import bench_picture

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
LAPTOP = {"viewport": {"width": 1280, "height": 860}}


def fill(page, *files, **told):
    page.set_default_timeout(8000)
    page.set_input_files("#pictures", [str(file) for file in files])
    for name, value in told.items():
        page.fill(f"#{name}", value)
    page.check('input[value="adult"]')
    page.check('input[name="agree"]')


@pytest.mark.browser
@pytest.mark.parametrize(("kind", "scripted"), [(PHONE, True), (LAPTOP, True), (PHONE, False)])
def test_a_picture_is_sent_shown_and_taken_back_by_its_code(browser, upload, photo, kind, scripted):
    with opened(browser, upload.address, java_script_enabled=scripted, **kind) as page:
        assert not page.is_checked('input[name="agree"]')
        fill(page, photo, name="Bea & Ben", caption="Third <b>leaf</b>", sown="2026-03-25")
        page.select_option("#region", "Basil")
        page.fill("#contact", "bea@follower.example")
        page.click("button.main")
        page.wait_for_selector("code.code")
        code = page.inner_text("code.code")
        (record,) = records(upload.season, "waiting")
        assert as_code(code) == code and code not in str(record)
        assert (record.name, record.caption) == ("Bea & Ben", "Third <b>leaf</b>")
        assert (record.region, record.contact) == ("basil", "bea@follower.example")
        assert (record.taken_on, record.age_days) == (date(2026, 4, 11), 17)
        assert record.by == "upload" and record.consent.is_adult
        assert record.consent.wording == wording(upload.season, "en").version
        assert cannot_be_shown(upload.season, record) is None
        kept = read_picture(upload.season, record.id)
        assert b"Exif" not in kept and kept != photo.read_bytes()
        show(upload.season, record.id)
        page.goto(f"{upload.address}take-back")
        page.fill("#code", code.lower().replace("-", " "))
        page.click("button.main")
        page.wait_for_selector(".note")
        assert "deleted" in page.inner_text(".note")
        assert records(upload.season) == []
    assert not list((upload.folder / "followers").rglob("*.jpg"))


@pytest.mark.browser
def test_pictures_are_seen_before_they_are_sent_and_nothing_leaves_until_then(
    browser, upload, photo, tmp_path
):
    unreadable = tmp_path / "IMG_1.heic"
    unreadable.write_bytes(b"no browser shows this")
    with opened(browser, upload.address, **PHONE) as page:
        sent = []
        page.on("request", lambda r: sent.append(r.url) if r.url.endswith("/send") else 0)
        page.set_input_files("#pictures", [str(photo), str(unreadable)])
        page.wait_for_function("document.querySelectorAll('.previews img').length === 1")
        seen = page.evaluate("document.querySelector('.previews img').naturalWidth")
        said = page.locator(".previews figcaption").all_inner_texts()
        assert seen == 320 and said[0].startswith("IMG_0042.jpg, 0")
        assert "cannot show it" in said[1] and sent == []


@pytest.mark.browser
def test_too_many_or_too_large_pictures_are_told_before_they_are_sent(
    browser, opened_with, photo, tmp_path
):
    upload = opened_with("[followers.page]\nlargest_mb = 1\nmost_at_once = 2\n")
    large = tmp_path / "large.jpg"
    large.write_bytes(photo.read_bytes() + b"\0" * 1_000_000)
    with opened(browser, upload.address, **LAPTOP) as page:
        fill(page, large)
        page.click("button.main")
        assert page.inner_text(".previews .problem").startswith("These pictures have more than 1")
        page.set_input_files("#pictures", [str(photo)] * 3)
        page.click("button.main")
        assert page.inner_text(".previews .problem").startswith("No more than 2 pictures")
        assert page.url == upload.address
    assert records(upload.season) == []


@pytest.mark.browser
def test_what_is_missing_is_told_beside_its_field_and_what_was_written_is_kept(
    browser, upload, photo
):
    page = browser.new_page(**LAPTOP)
    page.goto(upload.address)
    page.eval_on_selector("form", "form => form.noValidate = true")
    page.set_input_files("#pictures", str(photo))
    page.fill("#name", '"><script>alert(1)</script>')
    page.fill("#contact", "no address")
    page.fill("#sown", "2026-04-02")
    page.fill("#taken", "2026-04-01")
    page.check('input[value="minor"]')
    with page.expect_response("**/send") as answer:
        page.click("button.main")
    assert answer.value.status == 422
    for name in ("sown", "contact", "parent", "agree"):
        assert page.inner_text(f"#{name}-problem")
    assert page.get_attribute("#contact", "aria-invalid") == "true"
    assert page.input_value("#name") == '"><script>alert(1)</script>'
    assert page.locator("script").count() == 1
    assert records(upload.season) == []
    assert findings(page) == []
    page.close()


@pytest.mark.browser
def test_no_page_is_barred_to_anybody(browser, upload, photo):
    """Axe in light and dark, by keyboard alone, and at 360 px without scrolling sideways."""
    for scheme in ("light", "dark"):
        with opened(browser, upload.address, color_scheme=scheme, **PHONE) as page:
            assert findings(page) == []
            assert page.evaluate("document.documentElement.scrollWidth") <= 360
            small = page.evaluate(
                """() => [...document.querySelectorAll('button, select, input, nav a')].filter(
                    e => !e.hidden && e.type !== 'hidden' && e.type !== 'radio' &&
                    e.type !== 'checkbox' && e.getBoundingClientRect().height < 44
                ).map(e => e.outerHTML)"""
            )
            assert small == []
            fill(page, photo)
            page.focus("#caption")
            for _ in range(40):
                page.keyboard.press("Tab")
                if page.evaluate("document.activeElement.matches('button.main')"):
                    break
            page.keyboard.press("Enter")
            page.wait_for_selector("code.code")
            assert findings(page) == []
            assert page.evaluate("document.documentElement.scrollWidth") <= 360
            page.goto(f"{upload.address}take-back")
            assert findings(page) == []


@pytest.mark.browser
def test_codes_are_saved_as_a_file_and_are_new_ones_where_a_form_is_sent_again(
    browser, upload, photo, tmp_path
):
    second = tmp_path / "second.png"
    Image.fromarray(bench_picture([(100, 100, 30)])).save(second)
    broken = tmp_path / "third.jpg"
    broken.write_bytes(b"\xff\xd8\xff broken")
    with opened(browser, upload.address, **LAPTOP) as page:
        fill(page, photo, second, broken)
        page.click("button.main")
        page.wait_for_selector("code.code")
        codes = page.locator("code.code").all_inner_texts()
        assert len(set(codes)) == 2 and page.locator("td .problem").count() == 1
        with page.expect_download() as saved:
            page.click("#save-codes")
        text = saved.value.path().read_text()
        assert all(code in text for code in codes) and "/take-back" in text
        page.reload()  # sends the form once more
        renewed = page.locator("code.code").all_inner_texts()
        assert len(set(renewed) | set(codes)) == 4
        assert page.inner_text("tbody").count("came before") == 2
    assert len(records(upload.season)) == 2


@pytest.mark.browser
def test_a_german_season_speaks_german_on_every_page(browser, opened_with, photo):
    upload = opened_with('[site]\nlanguage = "de"\n')
    with opened(browser, upload.address, **PHONE) as page:
        assert page.get_attribute("html", "lang") == "de"
        assert page.inner_text("h1") == "Ein Bild deiner Pflanze senden"
        fill(page, photo)
        page.click("button.main")
        page.wait_for_selector("code.code")
        assert page.inner_text("h1") == "Danke"
        page.goto(f"{upload.address}take-back")
        assert page.inner_text("h1") == "Bild zurücknehmen"
    (record,) = records(upload.season)
    assert (record.language, record.consent.language) == ("de", "de")


@pytest.mark.browser
def test_a_minor_needs_a_parents_name_and_where_none_are_taken_is_not_asked(
    browser, opened_with, photo
):
    upload = opened_with()
    with opened(browser, upload.address, **PHONE) as page:
        fill(page, photo)
        page.check('input[value="minor"]')
        page.fill("#parent", "P. Arent")
        page.click("button.main")
        page.wait_for_selector("code.code")
    (record,) = records(upload.season)
    assert (record.consent.is_adult, record.consent.parent) == (False, "P. Arent")
    assert cannot_be_shown(upload.season, record) is None
    never = opened_with('minors = "never"\n')
    with opened(browser, never.address, **PHONE) as page:
        assert page.locator('input[value="minor"]').count() == 0
        assert re.search("not taken here", page.inner_text("fieldset"))
