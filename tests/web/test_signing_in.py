"""The desk's password: who comes in, who guesses, whose session counts, and over which wire."""

import ssl
import threading
from urllib.parse import quote

import pytest

from lapsekit.desk.app import Reach, require_safe
from lapsekit.desk.gate import Gate
from lapsekit.errors import SettingsError
from lapsekit.web.limits import Patience, Rate
from lapsekit.web.passwords import hashed, keep_password, kept_password, matches
from lapsekit.web.serving import server
from lapsekit.web.sessions import _MOST, IDLE_S, LONGEST_S, Sessions
from lapsekit.web.signed import SignedSessions
from tests.web.serving_apps import PASSWORD, ask, desk_app, on_socket, post, trusting


class Hands:
    """A clock that is moved by hand."""

    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


@pytest.fixture(scope="module")
def kept():
    return hashed(PASSWORD)


@pytest.fixture
def locked(bench, kept):
    """Port of a desk with a password."""
    with on_socket(desk_app(bench.folder, password_hash=kept)) as port:
        yield port


def signed_in(port, **more):
    """Sign in; the new session's cookie, and the old one's with its token."""
    page = ask(port, "GET", "/sign-in", **more)
    reply = post(port, "/sign-in", page.cookie, page.token, password=PASSWORD, **more)
    assert (reply.status, reply.headers["location"]) == (303, "/")
    return reply.cookie, page.cookie, page.token


def test_without_the_password_nothing_of_the_season_is_told(locked, bench):
    moment = next((bench.folder / "frames").rglob("*.png")).stem
    for path in ("/", "/changes/", f"/picture/bench/{moment}", "/jobs/1", "/nothing", "/sign-out"):
        reply = ask(locked, "GET", path)
        wanted = f"?to={quote(path, safe='')}" if path != "/" else ""
        told = (reply.status, reply.headers["location"].removesuffix(wanted), reply.body)
        assert told == (303, "/sign-in", b"")
    page = ask(locked, "GET", "/sign-in")
    assert page.status == 200 and "basil" not in page.text
    refused = post(locked, "/jobs/1/stop", page.cookie, page.token)
    assert refused.status == 403 and refused.text == "Sign in first.\n"


def test_the_password_opens_it_and_a_wrong_one_does_not(locked):
    page = ask(locked, "GET", "/sign-in")
    for wrong in ("", PASSWORD.upper(), PASSWORD + " ", PASSWORD[:-1]):
        reply = post(locked, "/sign-in", page.cookie, page.token, password=wrong)
        assert reply.status == 200 and "not the password" in reply.text
        assert ask(locked, "GET", "/", [("Cookie", page.cookie)]).status == 303
    cookie, _, _ = signed_in(locked)
    assert ask(locked, "GET", "/", [("Cookie", cookie)]).status == 200


def test_a_planted_cookie_is_worth_nothing_after_signing_in(locked):
    """Session fixation: whoever gave a browser its session does not know the new one."""
    cookie, planted, planted_token = signed_in(locked)
    assert cookie != planted
    assert ask(locked, "GET", "/", [("Cookie", planted)]).status == 303
    page = ask(locked, "GET", "/", [("Cookie", cookie)])
    assert page.token != planted_token
    assert post(locked, "/jobs/1/stop", cookie, planted_token).status == 403
    for made_up in ("lapsekit-desk-0=abc", f"lapsekit-desk-{locked}=made-up", cookie + "x"):
        assert ask(locked, "GET", "/", [("Cookie", made_up)]).status == 303


def test_signing_out_ends_the_session_at_the_server_too(locked):
    cookie, _, _ = signed_in(locked)
    token = ask(locked, "GET", "/", [("Cookie", cookie)]).token
    reply = post(locked, "/sign-out", cookie, token)
    assert reply.status == 303 and "Max-Age=0" in reply.headers["set-cookie"]
    assert ask(locked, "GET", "/", [("Cookie", cookie)]).status == 303


def test_a_cookie_is_out_of_reach_of_scripts_and_other_sites(locked):
    flags = ask(locked, "GET", "/sign-in").headers["set-cookie"].split("; ")[1:]
    assert flags == ["Path=/", "HttpOnly", "SameSite=Strict"]


def test_two_desks_on_one_machine_leave_each_other_their_sessions(locked, open_desk):
    names = {ask(port, "GET", "/sign-in").cookie.partition("=")[0] for port in (locked, open_desk)}
    assert len(names - {""}) == 2


def test_a_session_ends_when_nobody_comes_for_long_and_after_a_week_in_any_case():
    clock = Hands()
    sessions = Sessions(clock)
    idle, _ = sessions.begin(True)
    busy, _ = sessions.begin(True)
    clock.now += IDLE_S - 1
    assert sessions.find(busy)
    clock.now += 2
    assert sessions.find(idle) is None and sessions.find(busy)
    while clock.now < 1000.0 + LONGEST_S:
        assert sessions.find(busy)
        clock.now += IDLE_S / 2
    clock.now += 1
    assert sessions.find(busy) is None


def test_a_flood_of_sessions_does_not_end_the_growers():
    sessions = Sessions(Hands())
    first, _ = sessions.begin(True)
    newest = ""
    for _ in range(_MOST + 500):
        newest, _ = sessions.begin(False)
    assert sessions.find(first) and sessions.find(newest)
    assert len(sessions._known) == _MOST


def test_signed_sessions_keep_nothing_and_believe_only_their_own_mark():
    clock = Hands()
    sessions = SignedSessions(clock)
    token, session = sessions.begin(False)
    for _ in range(5000):
        sessions.begin(False)
    found = sessions.find(token)
    assert found.form_token == session.form_token and not found.is_signed_in
    other, other_session = sessions.begin(False)
    assert other_session.form_token != session.form_token
    told, began, mark = token.split(".")
    for forged in (
        *(f"{told}.{int(began) + 900_000}.{mark}", f"{told}.{began}.{other.split('.')[2]}"),
        *(token[:-1], token + "0", "", ".", "..", "é.1.2", f"{told}.x.{mark}", "a" * 300),
    ):
        assert sessions.find(forged) is None
    assert SignedSessions(clock).find(token) is None
    clock.now += LONGEST_S + 1
    assert sessions.find(token) is None
    with pytest.raises(ValueError, match="nobody signs in"):
        sessions.begin(True)


def test_guessing_gets_slower_for_an_address_and_for_all_together(monkeypatch):
    monkeypatch.setattr("lapsekit.desk.gate.matches", lambda kept, told: kept == told)  # at once
    clock, tries = Hands(), 0
    gate = Gate(PASSWORD, clock)
    waits = []
    for _ in range(14):
        assert not gate.opens("192.0.2.9", "wrong")
        before = clock.now
        while True:
            try:
                gate.opens("192.0.2.9", "")
            except SettingsError as told:
                waits.append(int(str(told).split("wait ")[1].split(" ")[0]))
                clock.now = before + waits[-1]
                break
            tries += 1
    assert tries == 4 and waits[:4] == [2, 4, 8, 16] and waits[-1] == 900
    assert gate.opens("192.0.2.10", PASSWORD)  # another address does not wait yet
    for number in range(60):
        try:
            gate.opens(f"198.51.100.{number}", "wrong")
        except SettingsError:
            break
    with pytest.raises(SettingsError, match="wait"):  # one guess from each of many addresses
        gate.opens("203.0.113.77", PASSWORD)
    clock.now += 61
    assert gate.opens("203.0.113.77", PASSWORD)


def test_guesses_at_the_same_moment_are_not_more_guesses(kept):
    gate, ended = Gate(kept, Hands()), []

    def guess():
        try:
            ended.append(gate.opens("192.0.2.9", "wrong"))
        except SettingsError:
            ended.append(None)

    together = [threading.Thread(target=guess) for _ in range(30)]
    for each in together:
        each.start()
    for each in together:
        each.join()
    assert (ended.count(False), ended.count(None)) == (5, 25)


def test_failures_of_long_ago_are_forgotten():
    clock = Hands()
    patience = Patience(free=1, first_s=10, longest_s=100, clock=clock, forget_s=1000)
    for _ in range(5):
        patience.failed("a")
    assert patience.wait_s("a") == 80
    clock.now += 1001
    patience.failed("a")
    assert patience.wait_s("a") == 0


def test_a_rate_lets_a_burst_through_and_fills_up_again():
    clock = Hands()
    rate = Rate(burst=3, per_second=0.5, clock=clock)
    assert [rate.allows("a") for _ in range(4)] == [True, True, True, False]
    assert rate.allows("b")
    clock.now += 2
    assert [rate.allows("a"), rate.allows("a")] == [True, False]


def test_a_password_is_kept_as_argon2_where_only_its_owner_reads(tmp_path):
    file = tmp_path / "new" / ".desk" / "password"
    keep_password(file, "geheim mit ä und Wörtern")
    assert file.stat().st_mode & 0o777 == 0o600 and file.parent.stat().st_mode & 0o777 == 0o700
    kept = kept_password(file)
    assert kept.startswith("$argon2id$") and "geheim" not in kept
    assert matches(kept, "geheim mit a\u0308 und Wo\u0308rtern")  # the same letters in two parts
    assert not matches(kept, "geheim mit a und Wortern")
    assert not matches("nonsense", "geheim") and not matches(kept, "x" * 100_000)
    file.chmod(0o640)
    with pytest.raises(SettingsError, match="chmod 600"):
        kept_password(file)
    with pytest.raises(SettingsError, match="at least 10"):
        keep_password(file, "short")


def test_a_network_gets_no_desk_without_a_password_or_in_the_clear(kept):
    def reach(**more):
        return Reach(hosts=frozenset(), **more)

    require_safe(True, reach())
    with pytest.raises(SettingsError, match="--set-password"):
        require_safe(False, reach(is_secure=True))
    with pytest.raises(SettingsError, match="--certificate"):
        require_safe(False, reach(password_hash=kept))
    require_safe(False, reach(password_hash=kept, is_secure=True))


def test_over_tls_the_cookie_is_bound_to_it_and_browsers_are_told_to_stay(bench, kept, pem):
    app = desk_app(bench.folder, password_hash=kept, is_secure=True, names=["bench.example"])
    with on_socket(app, certificate=pem[0], key=pem[1]) as port:
        context = trusting(pem[0])
        page = ask(port, "GET", "/sign-in", context=context)
        name, *flags = page.headers["set-cookie"].split("; ")
        assert name.startswith(f"__Host-lapsekit-desk-{port}=") and "Secure" in flags
        assert "max-age=31536000" in page.headers["strict-transport-security"]
        cookie, _, _ = signed_in(port, context=context)
        assert ask(port, "GET", "/", [("Cookie", cookie)], context=context).status == 200
        plain = [("Origin", f"http://127.0.0.1:{port}")]
        refused = post(port, "/sign-out", cookie, "x", plain, context=context)
        assert refused.status == 403 and "another site" in refused.text
        assert ask(port, "GET", "/sign-in") is None  # nothing is told in the clear
        old = trusting(pem[0])
        old.maximum_version = ssl.TLSVersion.MINIMUM_SUPPORTED
        with pytest.raises(ssl.SSLError):
            ask(port, "GET", "/sign-in", context=old)


def test_a_certificate_that_does_not_fit_its_key_is_refused_in_words(bench, pem, tmp_path):
    broken = tmp_path / "broken.pem"
    broken.write_text("no key at all")
    for certificate, key in ((pem[0], broken), (broken, pem[1]), (pem[0], tmp_path / "gone.pem")):
        with pytest.raises(SettingsError, match="PEM") as refused:
            server(lambda *_: None, certificate, key)
        assert str(key) in str(refused.value)
