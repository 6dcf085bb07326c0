"""With a password, the desk lets this machine do no more than it did; and what it does with files.

Whoever guesses the password must not come to run programs, or to send or overwrite files.
"""

import tomllib

import pytest

from lapsekit.desk.settings import _fields, _model
from lapsekit.edits.book import Book
from lapsekit.season import Season
from lapsekit.web.passwords import hashed
from tests.scenes import make_season
from tests.web.serving_apps import PASSWORD, ask, desk_app, on_socket, post
from tests.web.test_signing_in import signed_in

RUNS = 'kind = "command"\ncommand = ["touch", "ran"]'
MAIL = """
[followers]
contact = "The office"

[followers.mail]
host = "mail.example"
user = "bench"
password_file = "mail-password"
"""


class Browser:
    """Signed in at a desk; sends what its forms would."""

    def __init__(self, port, folder, cookie):
        self.port, self.folder, self.cookie = port, folder, cookie
        self.token = ask(port, "GET", "/", [("Cookie", cookie)]).token

    def send(self, path, **fields):
        version = Book(self.folder).text("season.toml").version
        told = {"seen": version, "version": version, **fields}
        return post(self.port, path, self.cookie, self.token, **told)

    def table(self, name, **changed):
        """Save a table's form with some of its fields changed."""
        whole = tomllib.loads(self.text)
        found = _fields(name, _model(name, whole)[1], whole)
        return self.send(f"/settings/{name}", **{each.key: each.value for each in found} | changed)

    @property
    def text(self):
        return (self.folder / "season.toml").read_text()


@pytest.fixture
def season(tmp_path):
    return make_season(tmp_path / "bench")


@pytest.fixture
def far(season):
    """A browser at a desk that has a password."""
    with on_socket(desk_app(season.folder, password_hash=hashed(PASSWORD))) as port:
        yield Browser(port, season.folder, signed_in(port)[0])


@pytest.fixture
def near(season):
    """A browser at a desk on loopback without one."""
    with on_socket(desk_app(season.folder)) as port:
        yield Browser(port, season.folder, ask(port, "GET", "/").cookie)


def camera(kind, **values):
    return {"kind": kind, **{f"{kind}-{key}": value for key, value in values.items()}}


def as_command(browser):
    return browser.text.replace('kind = "files"', RUNS)


def test_no_form_lets_the_network_run_a_program(far):
    before = far.text
    told = [
        far.send("/settings/text/season.toml", content=as_command(far)),
        far.send("/setup/camera/bench/save", **camera("command", command="touch\nran")),
    ]
    assert far.text == before
    for reply in told:
        assert "touch" in reply.text and "by hand" in reply.text


def test_a_setting_s_form_lets_the_network_change_no_program_and_name_no_file(far):
    file = far.folder / "season.toml"
    publish = '\n[publish]\nto = "rsync"\ntarget = "a@b.example:x"\n'
    before = as_command(far) + publish
    file.write_text(before)
    for table, key, value in (
        ("cameras.bench", "command", '["touch", "other"]'),
        ("publish", "ssh_key", "/etc/ssh/ssh_host_ed25519_key"),
        ("followers", "face_model", "/tmp/made-to-break.onnx"),
    ):
        told = far.table(table, **{key: value}).text
        assert "by hand" in told, table
        assert file.read_text() == before, table
    assert far.table("publish", bandwidth_kb_s="200").status == 303
    assert "bandwidth_kb_s = 200" in far.text


def test_undoing_puts_no_program_back_over_the_network(far):
    Book(far.folder).change("in", {"season.toml": lambda text: as_command(far)})
    change = Book(far.folder).change(
        "out", {"season.toml": lambda text: text.replace(RUNS, 'kind = "files"')}
    )
    before = far.text
    reply = far.send("/changes/undo", change=change.id)
    assert reply.status == 400 and "touch" in reply.text
    assert far.text == before


def test_what_a_season_did_before_it_may_go_on_doing_and_stop(far):
    (far.folder / "season.toml").write_text(as_command(far))
    text = far.text.replace('title = "', 'title = "Another ')
    assert far.send("/settings/text/season.toml", content=text).status == 303
    assert (
        far.send("/setup/camera/bench/save", **camera("command", command="touch\nran")).status
        == 303
    )
    assert far.send("/setup/camera/bench/save", kind="files").status == 303
    assert "command" not in far.text


def test_a_file_s_password_goes_to_no_other_address_over_the_network(far):
    (far.folder / "season.toml").write_text(far.text + MAIL)
    before = far.text
    text = before.replace("mail.example", "elsewhere.example")
    assert "elsewhere.example" in far.send("/settings/text/season.toml", content=text).text
    assert far.text == before


def test_at_the_machine_itself_without_a_password_all_of_that_is_set(near):
    reply = near.send("/setup/camera/bench/save", **camera("command", command="touch\nran"))
    assert reply.status == 303
    assert Season(near.folder).settings.cameras["bench"].command == ("touch", "ran")
    near.send("/setup/camera/bench/save", kind="files")
    last = Book(near.folder).changes(1)[0].id
    assert near.send("/changes/undo", change=last).status == 303
    assert "touch" in near.text


def test_a_camera_s_password_is_written_over_no_file_that_the_settings_name(near, tmp_path):
    file = tmp_path / "precious"
    file.write_text("mine\n")
    address = {"url": "http://127.0.0.1:9/still.jpg", "user": "grower"}
    settings = f'kind = "http"\nurl = "{address["url"]}"\nuser = "grower"\n'
    settings += f'password_file = "{file}"'
    (near.folder / "season.toml").write_text(near.text.replace('kind = "files"', settings))
    named = camera("http", **address, password_file=str(file))
    reply = near.send("/setup/camera/bench/save", **named, password="theirs")
    assert reply.status == 400 and "-password" in reply.text
    assert file.read_text() == "mine\n"
    assert near.send("/setup/camera/bench/save", **named).status == 303  # as a hand wrote it


@pytest.mark.parametrize(
    "url",
    ["http://127.0.0.2:9/still.jpg", "http://127.0.0.1:10/x", "https://127.0.0.1:9/still.jpg"],
)
def test_a_kept_password_is_asked_for_again_when_the_address_is_another(near, url):
    own = {"user": "grower", "password_file": "bench-password"}
    first = camera("http", url="http://127.0.0.1:9/still.jpg", **own)
    assert near.send("/setup/camera/bench/save", **first, password="one").status == 303
    before = near.text
    reply = near.send("/setup/camera/bench/save", **camera("http", url=url, **own))
    assert reply.status == 400 and "enter it again" in reply.text
    assert near.text == before
    same = camera("http", url="http://127.0.0.1:9/other.jpg", **own)
    assert near.send("/setup/camera/bench/save", **same).status == 303
    assert (
        near.send(
            "/setup/camera/bench/save", **camera("http", url=url, **own), password="two"
        ).status
        == 303
    )
    assert (near.folder / "bench-password").read_text() == "two\n"


def test_a_password_that_lies_there_is_sent_to_no_camera_that_did_not_have_it(near):
    """By way of another kind of camera an address could be changed without a word."""
    (near.folder / "bench-password").write_text("one\n")
    new = camera("http", url="http://127.0.0.2/x", user="grower", password_file="bench-password")
    before = near.text
    assert "enter it again" in near.send("/setup/camera/bench/save", **new).text
    assert near.text == before
