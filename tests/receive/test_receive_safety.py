"""The upload page against strangers: limits, tokens, paths, codes; on a real socket."""

import asyncio
import queue
import re
import socket
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, asynccontextmanager

import pytest

from lapsekit.errors import SeasonBusy
from lapsekit.followers import deciding
from lapsekit.followers.receiving import take_in
from lapsekit.followers.records import records
from lapsekit.receive import sending, taking_back
from lapsekit.receive.limits import AT_ONCE, AT_ONCE_OF_ONE, Allowance, Guesses, Slots
from lapsekit.web.answers import HEADERS
from tests.web.paths import tricks
from tests.web.serving_apps import ask, post

CODE = re.compile(r"\b[A-Z]{4}(?:-[A-Z]{4}){3}\b")
KIND = ("Content-Type", "multipart/form-data; boundary=bean")


def parts(fields, files):
    """A form of fields and of (name, content) files, as browsers write it."""
    lines = []
    for name, value in fields.items():
        lines.append(f'--bean\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n')
    whole = "".join(lines).encode()
    for name, content in files:
        head = f'Content-Disposition: form-data; name="pictures"; filename="{name}"'
        whole += (
            f"--bean\r\n{head}\r\nContent-Type: image/jpeg\r\n\r\n".encode() + content + b"\r\n"
        )
    return whole + b"--bean--\r\n"


def sent(upload, files, *, headers=(), token=None, page=None, **fields):
    """Send pictures as a browser without scripts does."""
    page = page or ask(upload.port, "GET", "/")
    version = page.text.split('name="wording" value="')[1].split('"')[0]
    told = {"form_token": token or page.token, "wording": version, "age": "adult", "agree": "yes"}
    own = [KIND, ("Cookie", page.cookie), *headers]
    return ask(upload.port, "POST", "/send", own, parts(told | fields, files), wait=60)


def test_every_answer_has_the_policy_and_is_not_kept(upload):
    replies = [
        ask(upload.port, "GET", "/"),
        ask(upload.port, "GET", "/take-back"),
        ask(upload.port, "GET", "/season.toml"),
        ask(upload.port, "GET", "/", host="rebound.example"),
        ask(upload.port, "PUT", "/send"),
        ask(upload.port, "POST", "/send", [KIND], b"x"),
        ask(upload.port, "POST", "/take-back", [KIND], b"x" * 70_000),
    ]
    assert [each.status for each in replies] == [200, 200, 404, 421, 405, 403, 413]
    for reply in replies:
        for name, value in HEADERS:
            assert reply.headers[name.decode()] == value.decode()
        assert reply.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("fault", [OSError(28, "No space left"), SeasonBusy("held")], ids=repr)
def test_a_picture_that_cannot_be_kept_loses_no_code_of_the_others(
    upload, photo, monkeypatch, fault
):
    def third_fails(season, arrival):
        if arrival.file_name == "c.jpg":
            raise fault
        return take_in(season, arrival)

    monkeypatch.setattr(sending, "take_in", third_fails)
    files = [(f"{name}.jpg", photo.read_bytes() + name.encode()) for name in "abcd"]
    reply = sent(upload, files)
    assert reply.status == 200 and reply.text.count("send it again in a minute") == 1
    codes = CODE.findall(reply.text)
    assert len(set(codes)) == len(records(upload.season)) == 3
    assert all(deciding.take_down(upload.season, code) for code in codes)


def test_whoever_sends_a_form_again_is_shown_a_code_that_works(upload, photo):
    page, files = ask(upload.port, "GET", "/"), [("a.jpg", photo.read_bytes())]
    first, again = (sent(upload, files, page=page) for _ in range(2))
    (before,), (renewed,) = (CODE.findall(reply.text) for reply in (first, again))
    assert "takes the place" in again.text and "takes the place" not in first.text
    assert deciding.take_down(upload.season, before) is None
    assert deciding.take_down(upload.season, renewed)
    gone = sent(upload, files, page=page)
    assert CODE.findall(gone.text) == [] and "not here any more" in gone.text


def test_a_refusal_is_a_page_in_the_seasons_language(opened_with):
    upload = opened_with('[site]\nlanguage = "de"\n[followers.page]\nlargest_mb = 1\n')
    reply = sent(upload, [("a.jpg", b"x" * 1_200_000)])
    assert reply.status == 413 and "mehr als 1 MB" in reply.text and 'lang="de"' in reply.text
    assert "set-cookie" not in reply.headers


@pytest.mark.parametrize("path", ["/send", "/take-back"])
def test_without_its_own_token_nothing_is_taken(upload, photo, path):
    page, other = (ask(upload.port, "GET", "/") for _ in range(2))
    files = [("a.jpg", photo.read_bytes())]
    for cookie, token in (
        (page.cookie, other.token),
        (page.cookie, "x"),
        ("", page.token),
        (f"lapsekit-pictures-{upload.port}=made.up.1", page.token),
    ):
        told = {"form_token": token, "age": "adult", "agree": "yes", "code": "x"}
        reply = ask(upload.port, "POST", path, [KIND, ("Cookie", cookie)], parts(told, files))
        assert reply.status == 403
    for told in (("Origin", "http://elsewhere.example"), ("Sec-Fetch-Site", "cross-site")):
        assert sent(upload, files, page=page, headers=[told]).status == 403
    assert records(upload.season) == []


def test_no_trick_with_a_path_reads_a_file_or_upsets_it(upload, monkeypatch, caplog):
    monkeypatch.setattr("lapsekit.web.limits.Rate.allows", lambda *_: True)
    prefixes = {"/", "//", "/static/", "/x/"}
    prefixes |= {
        f"{r.path}/" for part in (sending, taking_back) for r in part.ROUTES if r.path != "/"
    }
    for target in tricks(sorted(prefixes)):
        reply = ask(upload.port, "GET", target)
        assert reply.status in (200, 400, 404), target
        assert "location" not in reply.headers
        for told in ("root:", "[season]", "SQLite format", "Traceback"):
            assert told not in reply.body.decode("utf-8", "replace"), target
        assert (
            reply.status != 200
            or target.startswith(("/?", "/x?", "/static/x?"))
            or ("/?" in target or "?side" in target)
        ), target
    assert "Traceback" not in caplog.text


def test_strangers_words_come_out_as_text_and_never_as_a_path(upload, photo):
    names = ["../../season.toml", "/etc/passwd", "a\u202egpj.exe", "<img src=x onerror=alert(1)>"]
    before = sorted(f for f in upload.folder.iterdir() if f.is_file())
    for number, name in enumerate(names):
        data = photo.read_bytes() + bytes([number])
        reply = sent(upload, [(name, data)], caption=name, name=name, plant=name)
        assert reply.status == 200 and "<img" not in reply.text and "\u202e" not in reply.text
    season_files = sorted(f for f in upload.folder.iterdir() if f.is_file() and f.name[0] != ".")
    assert season_files == [f for f in before if f.name[0] != "."]
    assert {f.name for f in (upload.folder / "followers").rglob("*.*") if f.is_file()} <= {
        *("picture.jpg", "record.json", "seen.txt"),
        *(f.name for f in (upload.folder / "followers" / "wordings").iterdir()),
    }


def test_what_is_no_picture_is_refused_beside_those_that_are(upload, photo):
    files = [
        ("page.html", b"<html><script>alert(1)</script>"),
        ("good.jpg", photo.read_bytes()),
        ("empty.jpg", b""),
        ("cut.jpg", photo.read_bytes()[:400]),
    ]
    reply = sent(upload, files)
    assert reply.status == 200 and reply.text.count('class="code"') == 1
    assert reply.text.count('class="problem"') == 2  # an empty part is no file that was chosen
    assert len(records(upload.season, "waiting")) == 1


def test_no_more_are_taken_than_a_day_has_and_an_address_and_than_may_wait(opened_with, photo):
    upload = opened_with("[followers.page]\na_day_each = 2\n")
    data = photo.read_bytes()
    for number, status in ((1, 200), (2, 200), (3, 429)):
        assert sent(upload, [("a.jpg", data + bytes([number]))]).status == status
    assert len(records(upload.season)) == 2
    full = opened_with("most_waiting = 1\n")
    assert 'class="code"' in sent(full, [("a.jpg", data)]).text
    late = sent(full, [("b.jpg", data + b"1")])
    assert 'class="code"' not in late.text and "wait to be looked at" in late.text


def test_a_full_disk_takes_no_pictures(opened_with, photo):
    upload = opened_with("[followers.page]\nkeep_free_mb = 1000000000\n")
    reply = sent(upload, [("a.jpg", photo.read_bytes())])
    assert reply.status == 507 and "no room" in reply.text
    assert not (upload.folder / "followers").exists()


def test_too_many_pictures_fields_or_letters_are_refused_and_nothing_is_kept(upload, photo):
    data = photo.read_bytes()
    assert sent(upload, [("a.jpg", data)] * 9).status == 422
    assert sent(upload, [("a.jpg", b"x")] * 60).status == 400
    assert sent(upload, [], **{f"f{n}": "1" for n in range(60)}).status == 400
    assert sent(upload, [("a.jpg", data)], caption="x" * 70_000).status == 400
    assert records(upload.season) == []


def test_season_files_that_are_being_edited_wrongly_close_nothing(upload, photo):
    settings = upload.folder / "season.toml"
    good = settings.read_text()
    settings.write_text(good + "[followers\n")
    assert ask(upload.port, "GET", "/").status == 200
    settings.write_text(good.replace("School office", "Roof office"))
    assert "Roof office" in ask(upload.port, "GET", "/").text


def test_a_consent_text_that_changed_meanwhile_has_to_be_read_again(upload, photo):
    page = ask(upload.port, "GET", "/")
    settings = upload.folder / "season.toml"
    settings.write_text(settings.read_text().replace("School office", "Roof office"))
    reply = sent(upload, [("a.jpg", photo.read_bytes())], page=page)
    assert reply.status == 422 and "changed meanwhile" in reply.text
    assert records(upload.season) == []


def test_a_wrong_code_takes_nothing_down_and_the_same_is_said_of_each(upload, photo):
    code = sent(upload, [("a.jpg", photo.read_bytes())]).text.split('class="code">')[1][:19]
    page = ask(upload.port, "GET", "/take-back")
    wrong = {
        code[:-1] + ("A" if code[-1] != "A" else "B"),
        "KWTC-ZZRA-MHPN-DQXE",
        "x",
        "../" * 9,
        "",
    }
    replies = [
        post(upload.port, "/take-back", page.cookie, page.token, code=each) for each in wrong
    ]
    said = {(each.status, each.text) for each in replies}
    assert len(said) == 1 and said.pop()[0] == 404
    assert len(records(upload.season)) == 1
    right = post(upload.port, "/take-back", page.cookie, page.token, code=code)
    assert right.status == 200 and "deleted here" in right.text and records(upload.season) == []
    again = post(upload.port, "/take-back", page.cookie, page.token, code=code)
    assert again.status == 404


def test_guessing_codes_has_to_wait(upload):
    page = ask(upload.port, "GET", "/take-back")
    found = [
        post(upload.port, "/take-back", page.cookie, page.token, code="x").status for _ in range(9)
    ]
    assert found == [404] * 7 + [429] * 2


def test_guesses_double_their_wait_and_all_together_are_bounded():
    now = [0.0]
    guesses, waits = Guesses(lambda: now[0]), []
    for _ in range(12):
        wait = guesses.wait_s("a")
        waits.append(wait)
        now[0] += wait
        guesses.ended("a", False)
    assert waits[7:11] == [2, 4, 8, 16] and not any(waits[:7])
    guesses.ended("a", True)
    assert guesses.wait_s("a") == 0
    now[0] += 1000
    assert [guesses.wait_s(f"b{n}") > 0 for n in range(61)] == [False] * 60 + [True]


def test_an_allowance_counts_pictures_and_comes_back_over_a_day():
    now = [0.0]
    allowance = Allowance(10, 4, lambda: now[0])
    assert allowance.takes("a", 4) and not allowance.takes("a", 1) and allowance.takes("b", 4)
    assert not allowance.takes("c", 4) and allowance.takes("d", 2)
    now[0] = 43_200
    assert allowance.takes("a", 2) and not allowance.takes("a", 1)


def test_one_address_does_not_hold_every_place():
    async def tried():
        slots, held, came = Slots(), [], []

        async def hold(who):
            async with slots.one(who):
                came.append(who)
                await asyncio.sleep(0.2)

        held = [asyncio.create_task(hold("a")) for _ in range(12)]
        await asyncio.sleep(0.05)
        held.append(asyncio.create_task(hold("b")))
        await asyncio.sleep(0.05)
        at_once = list(came)
        await asyncio.gather(*held)
        return at_once, came, slots._each

    with ThreadPoolExecutor(1) as thread:  # a browser's own loop may run in this one
        at_once, came, left = thread.submit(asyncio.run, tried()).result()
    assert at_once.count("a") == AT_ONCE_OF_ONE and at_once.count("b") == 1
    assert len(came) == 13 and left == {}


def test_many_who_send_slowly_keep_nobody_else_from_sending(opened_with, photo, monkeypatch):
    """Each holds back the end of a body; what is common to all is not held meanwhile."""
    upload, one, came = opened_with(proxies=frozenset({"127.0.0.1"})), Slots.one, queue.Queue()

    @asynccontextmanager
    async def counted(slots, who):
        async with one(slots, who):
            came.put(who)
            yield

    monkeypatch.setattr(Slots, "one", counted)
    page = ask(upload.port, "GET", "/")
    head = f"POST /send HTTP/1.1\r\nHost: 127.0.0.1:{upload.port}\r\nCookie: {page.cookie}\r\n"
    head += "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 9000\r\n"
    with ExitStack() as open_ones:
        for number in range(AT_ONCE + 2):
            slow = open_ones.enter_context(socket.create_connection(("127.0.0.1", upload.port)))
            of = f"X-Forwarded-For: 203.0.113.{number}\r\n\r\nform_token={page.token}&name="
            slow.sendall((head + of).encode())
        assert len({came.get(timeout=20) for _ in range(AT_ONCE + 2)}) == AT_ONCE + 2
        own = [("X-Forwarded-For", "203.0.113.200")]
        assert sent(upload, [("a.jpg", photo.read_bytes())], headers=own).status == 200


def test_who_is_refused_for_all_has_lost_none_of_their_own():
    allowance = Allowance(10, 8, lambda: 0.0)
    assert allowance.takes("a", 7)
    assert not allowance.takes("b", 6)
    assert allowance.takes("b", 3)
    assert not allowance.takes("c", 1)


def test_threads_together_are_given_no_more_than_there_is():
    allowance, taken = Allowance(400, 100, lambda: 0.0), []
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        asking = [
            threading.Thread(
                target=lambda who: taken.extend(allowance.takes(who, 1) for _ in range(400)),
                args=(f"{n % 2}",),
            )
            for n in range(8)
        ]
        for each in asking:
            each.start()
        for each in asking:
            each.join()
    finally:
        sys.setswitchinterval(before)
    assert sum(taken) == 200


def test_pictures_sent_at_the_same_moment_all_arrive(upload, photo):
    data, found = photo.read_bytes(), []
    page = ask(upload.port, "GET", "/")

    def one(number):
        found.append(sent(upload, [("a.jpg", data + bytes([number]))], page=page).status)

    together = [threading.Thread(target=one, args=(n,)) for n in range(6)]
    for each in together:
        each.start()
    for each in together:
        each.join()
    assert found == [200] * 6 and len(records(upload.season, "waiting")) == 6


def test_a_fault_of_ours_is_told_without_its_inside(upload, photo, monkeypatch, caplog):
    def broken(*_):
        raise RuntimeError("secret inside")

    monkeypatch.setattr("lapsekit.receive.sending.take_in", broken)
    reply = sent(upload, [("a.jpg", photo.read_bytes())])
    assert reply.status == 500 and "secret" not in reply.text and "try again" in reply.text
    assert "secret inside" in caplog.text
