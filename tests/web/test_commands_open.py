"""`lapsekit desk` and `lapsekit receive` as real processes: passwords, networks, proxies, units."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest
from typer.main import get_command

from lapsekit.cli import app
from lapsekit.errors import SettingsError
from lapsekit.receive.app import make_app
from lapsekit.resources import shared_folder
from lapsekit.web.passwords import keep_password
from lapsekit.web.reach import Reach
from lapsekit.web.serving import bound
from tests.receive.conftest import FOLLOWERS
from tests.scenes import SETTINGS, make_season
from tests.web.serving_apps import PASSWORD, ask, post, trusting

CONFIG = shared_folder("config")


def lapsekit(*told, said=None):
    """Run a command to its end."""
    command = [sys.executable, "-m", "lapsekit", *map(str, told)]
    return subprocess.run(command, input=said, capture_output=True, text=True, timeout=60)


@contextmanager
def open_command(*told):
    """A command that serves: its port, and afterwards its end."""
    command = [sys.executable, "-m", "lapsekit", *map(str, told)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        while not (found := re.search(r"https?://\S+:(\d+)/", line := process.stdout.readline())):
            assert line, process.stderr.read()
        yield int(found[1])
    finally:
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=20)
    assert process.returncode == 0 and "closed" in out and err == ""


@pytest.fixture
def folder(tmp_path):
    season = make_season(tmp_path / "bench", SETTINGS + FOLLOWERS)
    return season.folder


def until_it_answers(port, path="/", **more):
    for _ in range(100):
        try:
            return ask(port, "GET", path, **more)
        except ConnectionRefusedError:
            time.sleep(0.05)
    raise AssertionError("nobody answers")


def test_a_password_is_set_once_and_asked_for_from_then_on(folder):
    done = lapsekit("desk", "--season", folder, "--set-password", said=f"{PASSWORD}\n")
    assert done.returncode == 0 and "hash is kept" in done.stdout
    file = folder / ".desk" / "password"
    assert PASSWORD not in file.read_text() and file.stat().st_mode & 0o077 == 0
    with open_command("desk", "--season", folder, "--port", 0) as port:
        page = until_it_answers(port, "/sign-in")
        reply = post(port, "/sign-in", page.cookie, page.token, password=PASSWORD)
        assert reply.status == 303 and reply.cookie != page.cookie
    file.chmod(0o644)
    done = lapsekit("desk", "--season", folder, "--port", 0)
    assert done.returncode == 78 and "chmod 600" in done.stderr


def test_work_that_the_desk_began_ends_with_it(tmp_path):
    note = tmp_path / "process"
    slow = f"import os, time; open({str(note)!r}, 'w').write(f'{{os.getpid()}} '); time.sleep(90)"
    kind = (
        f"kind = \"command\"\ncommand = ['{sys.executable}', '-c', \"{slow}\"]\ntime_limit_s = 100"
    )
    folder = make_season(tmp_path / "bench", SETTINGS.replace('kind = "files"', kind)).folder
    with open_command("desk", "--season", folder, "--port", 0) as port:
        page = until_it_answers(port, "/setup/first/")
        reply = post(port, "/setup/first/take", page.cookie, page.token)
        assert reply.status == 303 and reply.headers["location"].startswith("/jobs/")
        for _ in range(400):
            if note.exists() and note.read_text().endswith(" "):
                break
            time.sleep(0.05)
        number = int(note.read_text())
        os.kill(number, 0)  # it is there
    with pytest.raises(ProcessLookupError):
        os.kill(number, 0)


def test_a_password_is_kept_for_a_season_or_a_new_folder_and_nowhere_else(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    (home / "letter.txt").write_text("dear")
    done = lapsekit("desk", "--season", home, "--set-password", said=f"{PASSWORD}\n")
    assert done.returncode != 0 and "is no season folder" in done.stderr
    assert "--season FOLDER" in done.stderr and not (home / ".desk").exists()
    (tmp_path / "new").mkdir()
    for _ in range(2):  # a new one, and one that has a password and nothing else
        done = lapsekit("desk", "--season", tmp_path / "new", "--set-password", said=PASSWORD)
        assert done.returncode == 0 and (tmp_path / "new" / ".desk" / "password").is_file()


@pytest.mark.parametrize("said", ["", "short\n"])
def test_a_password_that_is_none_is_refused(folder, said):
    done = lapsekit("desk", "--season", folder, "--set-password", said=said)
    assert done.returncode == 78 and "at least 10" in done.stderr
    assert not (folder / ".desk" / "password").exists()


def test_the_desk_opens_to_a_network_only_with_a_password_and_tls(folder, pem):
    network = ("desk", "--season", folder, "--port", 0, "--host", "0.0.0.0")
    without = lapsekit(*network)
    assert without.returncode == 78 and "--set-password" in without.stderr
    keep_password(folder / ".desk" / "password", PASSWORD)
    clear = lapsekit(*network)
    assert clear.returncode == 78 and "--certificate" in clear.stderr
    with open_command(*network, "--certificate", pem[0], "--key", pem[1]) as port:
        page = until_it_answers(port, "/sign-in", context=trusting(pem[0]))
        assert page.status == 200 and "Secure" in page.headers["set-cookie"]
        assert ask(port, "GET", "/sign-in") is None


def test_the_upload_page_needs_a_contact_and_a_port_of_its_own(tmp_path):
    bare = make_season(tmp_path / "bare").folder
    with pytest.raises(SettingsError, match=r"followers\.contact"):
        make_app(bare, Reach(hosts=frozenset()))
    with bound("127.0.0.1", 0) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(SettingsError, match=f"no free port {port}"):
            bound("127.0.0.1", port, tries=1)
        with bound("127.0.0.1", port) as next_one:
            assert next_one.getsockname()[1] > port


def test_the_upload_page_opens_to_a_network_only_over_tls(folder, pem):
    network = ("receive", "--season", folder, "--port", 0, "--host", "0.0.0.0")
    done = lapsekit(*network)
    assert done.returncode == 78 and "--certificate" in done.stderr
    with open_command(*network, "--certificate", pem[0], "--key", pem[1]) as port:
        page = until_it_answers(port, context=trusting(pem[0]))
        assert page.status == 200 and 'type="file"' in page.text


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd-analyze here")
@pytest.mark.parametrize("unit", ["lapsekit-receive.service", "lapsekit-desk.service"])
def test_a_unit_exposes_little_and_starts_a_command_that_there_is(unit):
    command = ["systemd-analyze", "security", "--offline=yes", "--no-pager", str(CONFIG / unit)]
    said = subprocess.run(command, capture_output=True, text=True, check=False)
    assert "Unknown" not in said.stderr
    assert float(re.search(r"level for \S+: ([\d.]+)", said.stdout)[1]) <= 2.0
    started = re.search(r"ExecStart=\S+/lapsekit (.+)", (CONFIG / unit).read_text())[1].split()
    options = {each for p in get_command(app).commands[started[0]].params for each in p.opts}
    assert {option for option in started if option.startswith("--")} <= options


def started_by(unit, folder):
    """The command that a unit starts, for another season folder and at any free port."""
    told = re.search(r"ExecStart=\S+/lapsekit (.+)", (CONFIG / unit).read_text())[1].split()
    for option, here in (("--season", folder), ("--port", 0)):
        told[told.index(option) + 1] = here
    return told


def test_behind_a_proxy_the_desk_opens_at_its_own_port_or_not_at_all(folder):
    keep_password(folder / ".desk" / "password", PASSWORD)
    with bound("127.0.0.1", 0) as taken:
        port = taken.getsockname()[1]
        told = ("desk", "--season", folder, "--port", port)
        done = lapsekit(*told, "--behind", "127.0.0.1")
        assert done.returncode == 78 and f"no free port {port}" in done.stderr
        with open_command(*told) as next_one:
            assert next_one > port
            until_it_answers(next_one)


@contextmanager
def nginx(tmp_path, pem, desk_port, receive_port):
    """A real nginx by config/nginx.conf, with names, ports and certificates of this test."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    text = (CONFIG / "nginx.conf").read_text()
    for ours, here in (
        ("listen 443 ssl", f"listen 127.0.0.1:{port} ssl"),
        ("/etc/ssl/bench.example/fullchain.pem", str(pem[0])),
        ("/etc/ssl/bench.example/key.pem", str(pem[1])),
        ("127.0.0.1:8020", f"127.0.0.1:{receive_port}"),
        ("127.0.0.1:8010", f"127.0.0.1:{desk_port}"),
        ("    deny all;", "    allow 127.0.0.1;\n    deny all;"),
    ):
        assert ours in text
        text = text.replace(ours, here)
    temporary = "\n".join(
        f"{kind}_temp_path {tmp_path};"
        for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    whole = tmp_path / "nginx.conf"
    whole.write_text(
        f"daemon off; pid {tmp_path}/pid; error_log {tmp_path}/error.log; user root;\n"
        f"events {{}}\nhttp {{ access_log off;\n{temporary}\n{text}\n}}\n"
    )
    process = subprocess.Popen(["nginx", "-e", f"{tmp_path}/error.log", "-c", str(whole)])
    try:
        yield port
    finally:
        process.terminate()
        process.wait(10)


@pytest.mark.skipif(
    shutil.which("nginx") is None or os.geteuid() != 0,
    reason="no nginx here (tests/run installs one), or not root",
)
def test_behind_a_real_nginx_both_are_reached_over_tls_and_only_so(folder, pem, tmp_path):
    keep_password(folder / ".desk" / "password", PASSWORD)
    context = trusting(pem[0])
    upload = '\nupload = "https://bench.example/pictures/"\n'
    (folder / "season.toml").write_text(SETTINGS + FOLLOWERS + upload)
    with (
        open_command(*started_by("lapsekit-receive.service", folder)) as receive_port,
        open_command(*started_by("lapsekit-desk.service", folder)) as desk_port,
        nginx(tmp_path, pem, desk_port, receive_port) as port,
    ):
        page = until_it_answers(port, "/pictures/", host="bench.example", context=context)
        assert page.status == 200 and page.cookie.startswith("__Host-lapsekit-pictures")
        for name in ("static/receive.css", "take-back", "static/receive.js"):
            more = {"host": "bench.example", "context": context}
            assert ask(port, "GET", f"/pictures/{name}", **more).status == 200
        assert "strict-transport-security" in page.headers
        own = [("Origin", "https://bench.example"), ("X-Forwarded-For", "203.0.113.5")]
        found = [
            post(port, "/pictures/take-back", page.cookie, page.token, own, code="x", **more)
            for _ in range(9)
        ]
        assert [each.status for each in found] == [404] * 7 + [429] * 2  # of one address still
        at_desk = {"host": "desk.bench.example", "context": context}
        page = ask(port, "GET", "/sign-in", **at_desk)
        reply = post(port, "/sign-in", page.cookie, page.token, password=PASSWORD, **at_desk)
        assert reply.status == 303 and reply.headers["location"] == "/"
        inside = ask(port, "GET", "/", [("Cookie", reply.cookie)], **at_desk)
        assert inside.status == 200 and "at the desk" in inside.text
        for path in ("/pictures/../season.toml", "/pictures/%2e%2e/sign-in", "/pictures/..%2fx"):
            assert ask(port, "GET", path, **more).status in (400, 404)
