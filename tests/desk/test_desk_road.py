"""From a follower to the season's page and off it again: by mail, upload page and folder.

Real servers, real browsers; nothing between them is called by its name but what the commands call.
"""

import os
import re
from contextlib import suppress
from datetime import UTC, datetime

import pytest

from lapsekit.followers.folder import take_in_folder
from lapsekit.followers.mail import take_in_mail
from lapsekit.followers.records import records
from lapsekit.receive.app import make_app as make_upload_page
from lapsekit.season import Season
from lapsekit.serving import open_server
from lapsekit.site.build import build_site
from lapsekit.trust import trust
from lapsekit.web import serving
from lapsekit.web.reach import Reach
from tests.browsing import running
from tests.followers.arriving import encoded, scene
from tests.followers.mail_servers import PASSWORD, USER, dovecot
from tests.followers.test_mail import mail
from tests.web.serving_apps import on_socket

NOW = datetime(2031, 4, 5, 18, tzinfo=UTC)
OWN = "plants@bench.example"
TOLD = "Name: Mia <3\nPlant: Basil\nSown: 2031-03-25\nTaken: 2031-04-04\nCaption: after the rain\n"
PAGES = ("followers/index.html", "day/2031-04-04/index.html")
CODE = re.compile(r"\b(?:[A-Z2-9]{4}-){3}[A-Z2-9]{4}\b")


def opened(folder):
    return Season(folder, lambda: NOW)


def with_settings(folder, more):
    file = folder / "season.toml"
    file.write_text(f'{file.read_text()}\n[followers]\ncontact = "School office, 12"\n{more}')
    trust(folder)


def by_mail(folder, browser, tmp_path, monkeypatch):
    """A mail in a real mailbox; its code stands in the letter, and works from any address."""
    with dovecot() as imap:
        monkeypatch.setenv("SSL_CERT_FILE", str(imap.certificate))
        with_settings(
            folder,
            f'address = "{OWN}"\n[followers.mail]\nhost = "localhost"\nport = {imap.tls}\n'
            f'user = "{USER}"\npassword_file = "word"\n',
        )
        (folder / "word").write_text(f"{PASSWORD}\n")
        (folder / "word").chmod(0o600)
        imap.put(mail(f"{TOLD}I agree: yes\nI am of age: yes\n", 1))
        take_in_mail(opened(folder))
        (record,) = records(opened(folder), "waiting")
        (code,) = CODE.findall(record.answers[0].text)
        yield code
        imap.put(mail("", number=2, From="somebody@else.example", Subject=f"take down {code}"))
        take_in_mail(opened(folder))


def by_upload(folder, browser, tmp_path, monkeypatch):
    """The upload page in a real browser, for sending and for taking back."""
    with_settings(folder, 'upload = "https://bench.example/plants/"\n')
    photo = tmp_path / "IMG_0042.jpg"
    scene(1).save(photo, quality=92)

    def app(port):
        hosts = serving.local_names("127.0.0.1", port)
        return make_upload_page(folder, Reach(hosts=hosts, port=port), clock=lambda: NOW)

    with on_socket(app) as port:
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{port}/")
        page.set_input_files("#pictures", str(photo))
        for name, value in {"name": "Mia <3", "caption": "after the rain", "sown": "2031-03-25",
                            "taken": "2031-04-04"}.items():  # fmt: skip
            page.fill(f"#{name}", value)
        page.select_option("#region", "Basil")
        page.check('input[value="adult"]')
        page.check('input[name="agree"]')
        page.click("button.main")
        code = page.inner_text("code.code")
        yield code
        page.goto(f"http://127.0.0.1:{port}/take-back")
        page.fill("#code", code)
        page.click("button.main")
        page.wait_for_selector(".note")
        page.close()


def by_folder(folder, browser, tmp_path, monkeypatch):
    """A picture that the grower puts into a folder; the code is typed at the desk."""
    with_settings(folder, 'inbox = "followers-in"\n')
    (folder / "followers-in").mkdir()
    (folder / "followers-in" / "balcony.jpg").write_bytes(encoded(scene(1), quality=92))
    (folder / "followers-in" / "balcony.txt").write_text(f"{TOLD}agreed: yes\nof age: yes\n")
    for file in (folder / "followers-in").iterdir():
        os.utime(file, (0, 0))  # they have lain there for long
    ((_, received),) = take_in_folder(opened(folder)).taken
    code = received.code
    page = yield code
    page.goto("/followers/")
    page.get_by_label("The code").fill(code)
    page.get_by_role("button", name="Delete that picture").click()


def read_site(folder):
    """Everything that readers could get, as text, and names of pictures."""
    files = [path for path in (folder / "site").rglob("*") if path.is_file()]
    words = "\n".join(p.read_text("utf-8", "replace") for p in files if p.suffix != ".woff2")
    return words, {path.relative_to(folder / "site").as_posix() for path in files}


@pytest.mark.parametrize("way", [by_mail, by_upload, by_folder])
def test_a_picture_comes_waits_is_shown_and_is_taken_down(
    way, browser, desk, page, folder, tmp_path, monkeypatch
):
    build_site(opened(folder))
    before = read_site(folder)[1]
    road = way(folder, browser, tmp_path, monkeypatch)
    code = next(road)
    build_site(opened(folder))
    assert "Mia" not in read_site(folder)[0]  # it waits: nobody sees it
    page.goto("/followers/")
    page.get_by_role("link", name="Mia <3").click()
    page.get_by_role("button", name="Show it").click()
    build_site(opened(folder))
    words, files = read_site(folder)
    assert "Mia &lt;3" in words and code not in words and "roof.example" not in words
    with running(open_server(folder / "site", 0)) as address:
        reader = browser.new_page()
        for path in PAGES[: 1 if way is by_mail else 2]:  # the mail server's clock is today's
            reader.goto(address + path)
            shown = reader.locator("figure.pair", has_text="Mia <3")
            picture = shown.locator("img").first
            picture.scroll_into_view_if_needed()
            assert picture.evaluate("image => image.decode().then(() => image.naturalWidth)") > 100
            assert "after the rain" in shown.inner_text()
        reader.close()
    with suppress(StopIteration):
        road.send(page)
    assert records(opened(folder)) == []
    build_site(opened(folder))
    words, now = read_site(folder)
    assert "Mia" not in words
    assert {n for n in now if n.startswith("pictures/")} == {
        n for n in before if n.startswith("pictures/")
    }
    assert {n for n in files - now if n.endswith(".avif")}
    left = [p for p in folder.rglob("*.jpg") if "followers" in p.parts and "taken" not in p.parts]
    assert left == []
