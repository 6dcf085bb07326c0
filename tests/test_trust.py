"""A season folder that came from somebody else does nothing before it is trusted."""

import contextlib
import json
import os
import shutil
import stat
import subprocess
import sys
from datetime import UTC, datetime

import pytest

from lapsekit import trust
from lapsekit.cameras import open_camera
from lapsekit.desk.reach_of_change import require_no_more
from lapsekit.errors import NotTrusted, SettingsError, TransferError
from lapsekit.places import open_place
from lapsekit.publishing import publish
from lapsekit.season import Season
from lapsekit.settings import parse_settings
from tests.scenes import SETTINGS, make_season

NOW = datetime(2031, 4, 2, 12, tzinfo=UTC)


def lapsekit(*arguments):
    command = [sys.executable, "-m", "lapsekit", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def received(folder, camera='kind = "command"\ncommand = ["touch", "ran"]', more=""):
    """A season folder as an archive of somebody else's brings it."""
    folder.mkdir(parents=True)
    (folder / "season.toml").write_text(SETTINGS.replace('kind = "files"', camera) + more)
    return folder


def test_a_received_folder_runs_no_command_until_it_is_trusted(tmp_path):
    folder = received(tmp_path / "theirs")
    done = lapsekit("capture", "--season", folder)
    assert done.returncode == 77
    assert f"lapsekit trust {folder}" in done.stderr and "touch" in done.stderr
    assert not (folder / "ran").exists()
    done = lapsekit("trust", folder)
    assert done.returncode == 0 and "run 'touch' 'ran'" in done.stdout
    lapsekit("capture", "--season", folder)
    assert (folder / "ran").exists()


def test_trust_can_be_looked_at_first_and_taken_back(tmp_path):
    folder = received(tmp_path / "theirs")
    said = json.loads(lapsekit("trust", "--dry-run", "--json", folder).stdout)
    assert said["trusted"] is False and "'touch'" in said["would"][0]
    lapsekit("trust", folder)
    assert trust.is_trusted(folder)
    assert "no longer" in lapsekit("trust", "--take-back", folder).stdout
    assert not trust.is_trusted(folder)
    assert "was not trusted" in lapsekit("trust", "--take-back", folder).stdout


def test_a_folder_that_new_made_is_trusted_through_every_edit(tmp_path):
    folder = tmp_path / "own"
    assert lapsekit("new", folder, "--time-zone", "UTC").returncode == 0
    text = (folder / "season.toml").read_text()
    command = 'kind = "command"\ncommand = ["touch", "ran"]'
    (folder / "season.toml").write_text(text.replace('kind = "files"', command))
    assert lapsekit("capture", "--season", folder).returncode == 69  # it ran, and made no picture
    assert (folder / "ran").exists()


def test_what_is_unpacked_in_the_place_of_a_trusted_folder_is_not_trusted(tmp_path):
    place = tmp_path / "bench"
    trust.trust(received(place))
    inode = place.stat().st_ino
    shutil.rmtree(place)
    received(place)
    assert not trust.is_trusted(place), f"inode before {inode}, now {place.stat().st_ino}"


def test_a_secret_that_a_folder_came_with_is_not_used(tmp_path):
    """Else whoever made it could send another folder later, which would be trusted at once."""
    place = received(tmp_path / "bench")
    (place / trust.TOKEN_FILE).write_text("known to its maker\n")
    trust.trust(place)
    shutil.rmtree(place)
    received(place)
    (place / trust.TOKEN_FILE).write_text("known to its maker\n")
    assert not trust.is_trusted(place)


def test_a_copy_under_another_path_is_not_trusted(tmp_path):
    make_season(tmp_path / "bench")
    shutil.copytree(tmp_path / "bench", tmp_path / "copy")
    assert trust.is_trusted(tmp_path / "bench")
    assert not trust.is_trusted(tmp_path / "copy")


def test_a_link_to_a_trusted_folder_is_the_same_folder(tmp_path):
    make_season(tmp_path / "bench")
    (tmp_path / "link").symlink_to(tmp_path / "bench")
    assert trust.is_trusted(tmp_path / "link")


def test_a_list_that_others_can_write_counts_for_nothing(tmp_path):
    make_season(tmp_path / "bench")
    record = trust.own_record()
    before = stat.S_IMODE(record.stat().st_mode)
    assert before == 0o600
    record.chmod(0o666)
    try:
        assert not trust.is_trusted(tmp_path / "bench")
    finally:
        record.chmod(before)
    assert trust.is_trusted(tmp_path / "bench")


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root, to write the machine's list")
def test_the_machines_list_is_for_every_user_and_its_secret_for_the_folders_owner(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(trust, "EVERYONE", tmp_path / "etc" / "trusted.csv")
    folder = received(tmp_path / "theirs")
    os.chown(folder, 4711, 4711)
    trust.trust(folder, for_everyone=True)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "somebody"))
    assert trust.is_trusted(folder)
    about = (folder / trust.TOKEN_FILE).stat()
    assert (about.st_uid, stat.S_IMODE(about.st_mode)) == (4711, 0o600)
    os.chown(trust.EVERYONE, 4711, 4711)
    assert not trust.is_trusted(folder), "a list that root does not own"


def test_publishing_waits_for_trust(tmp_path):
    there = tmp_path / "there"
    more = f'\n[publish]\nto = "folder"\ntarget = "{there}"\n'
    folder = received(tmp_path / "theirs", 'kind = "files"', more)
    (folder / "site").mkdir()
    (folder / "site" / "index.html").write_text("<p>hello")
    with pytest.raises(NotTrusted, match="publish"):
        publish(Season(folder))
    assert not there.exists()
    trust.trust(folder)
    publish(Season(folder))
    assert (there / "index.html").exists()


def test_a_password_is_not_sent_for_a_folder_that_is_not_trusted(tmp_path):
    """It may name any file of its new owner, and any address."""
    camera = 'kind = "http"\nurl = "http://127.0.0.1:9/x.jpg"\nuser = "me"\n'
    folder = received(tmp_path / "theirs", camera + 'password_file = "/etc/hostname"')
    model = Season(folder).settings.cameras["bench"]
    with pytest.raises(NotTrusted, match=r"send the password in /etc/hostname to http://127"):
        open_camera("bench", model, folder, UTC)
    plain = received(tmp_path / "plain", 'kind = "http"\nurl = "http://127.0.0.1:9/x.jpg"')
    open_camera("bench", Season(plain).settings.cameras["bench"], plain, UTC)


def test_what_a_folder_would_do_is_told_whole_and_cannot_play_tricks_on_the_terminal(tmp_path):
    text = SETTINGS.replace(
        'kind = "files"', 'kind = "command"\ncommand = ["sh", "-c", "\\u001b[2Jrm x"]'
    )
    text += '\n[publish]\nto = "rclone"\ntarget = "far:x"\nrclone_config = "own.conf"\n'
    text += '\n[copies]\nto = "folder"\ntarget = "/mnt/x"\n'
    text += '\n[thinning]\nkeep_all_days = 30\n\n[alerts]\nto_file = "alerts-to"\n'
    found = trust.wishes(parse_settings(text, tmp_path / "season.toml"), tmp_path)
    assert not any("\x1b" in wish for wish in found)
    for word in ("sh", "far:x", "own.conf", "/mnt/x", "30 days", "alerts-to"):
        assert any(word in wish for wish in found), word
    assert trust.wishes(parse_settings(SETTINGS, tmp_path / "season.toml"), tmp_path) == []


def test_another_model_an_earlier_season_and_copies_that_are_not_encrypted_are_asked_for(tmp_path):
    """The desk refuses over the network whatever is asked for anew: taking the key out is, too."""
    where = '\n[copies]\nto = "rclone"\ntarget = "far:x"\n'
    texts = {
        "encrypted": SETTINGS + where + 'encrypt_with = "word"\n',
        "open": SETTINGS + where,
        "model": SETTINGS.replace('"exgr"', '"model"\nmodel_file = "/home/x/own.json"'),
        "earlier": SETTINGS + '\n[site]\nearlier = "/home/x/bench-2030"\n',
    }
    known = {
        name: trust.wishes(parse_settings(text, tmp_path / "season.toml"), tmp_path)
        for name, text in texts.items()
    }
    assert any("/home/x/own.json" in wish for wish in known["model"])
    assert any("/home/x/bench-2030" in wish for wish in known["earlier"])
    assert set(known["open"]) - set(known["encrypted"]) == {"copy to far:x without encrypting"}
    with pytest.raises(SettingsError, match="copy to far:x without encrypting"):
        require_no_more(
            tmp_path, {"season.toml": texts["encrypted"]}, {"season.toml": texts["open"]}
        )


def test_a_list_that_cannot_be_written_is_told(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "file"))
    with pytest.raises(SettingsError, match="trust cannot be recorded"):
        trust.trust(received(tmp_path / "theirs"))


ASKS_A_PROGRAM = """\
[far]
type = webdav
url = http://127.0.0.1:9/
vendor = other
bearer_token_command = touch {ran}
"""


def with_far_copies(folder, ran):
    """A received folder that says it was copied to where its own rclone settings run a program."""
    config = folder.parent / f"{folder.name}.conf"
    config.write_text(ASKS_A_PROGRAM.format(ran=ran))
    more = f'\n[copies]\nto = "rclone"\ntarget = "far:x"\nrclone_config = "{config}"\n'
    received(folder, 'kind = "files"', more)
    (folder / "copied.csv").write_text(
        f"path,sha256,verified_at\nseason.toml,{'0' * 64},2031-04-02T12:00:00Z\n"
    )
    return folder


@pytest.mark.parametrize("command", ["drill", "restore", "copy", "verify"])
def test_no_command_reaches_for_the_copies_of_a_folder_that_is_not_trusted(command, tmp_path):
    """Its rclone settings run programs, and its password may be any file of its new owner."""
    ran, new = tmp_path / "ran", tmp_path / "new"
    folder = with_far_copies(tmp_path / "theirs", ran)
    asked = {
        "drill": ("copy", "--drill", "--season", folder),
        "restore": ("restore", new, "--from", folder),
        "copy": ("copy", "--dry-run", "--season", folder),
        "verify": ("copy", "--verify", "--season", folder),
    }[command]
    done = lapsekit(*asked)
    assert (done.returncode, ran.exists(), new.exists()) == (77, False, False), done.stderr
    assert f"lapsekit trust {folder}" in done.stderr and "[copies]" in done.stderr


@pytest.mark.skipif(shutil.which("rclone") is None, reason="rclone is not installed")
def test_rclones_settings_do_run_a_program_once_the_folder_is_trusted(tmp_path):
    """Else the test above would show nothing."""
    folder = with_far_copies(tmp_path / "theirs", tmp_path / "ran")
    trust.trust(folder)
    with contextlib.suppress(TransferError):  # it gives no token
        open_place(Season(folder).settings.copies, folder)
    assert (tmp_path / "ran").exists()


def test_a_password_file_is_not_opened_for_a_folder_that_is_not_trusted(tmp_path):
    """Even that it exists, or who may read it, would be told otherwise."""
    more = '\n[copies]\nto = "rclone"\ntarget = "/mnt/x"\nencrypt_with = "/etc/hostname"\n'
    folder = received(tmp_path / "theirs", 'kind = "files"', more)
    done = lapsekit("restore", tmp_path / "new", "--from", folder)
    assert done.returncode == 77 and "hostname" not in done.stderr


def test_a_place_that_is_given_on_the_command_line_needs_no_trust(tmp_path):
    done = lapsekit("restore", tmp_path / "new", "--by", "folder", "--target", tmp_path / "none")
    assert done.returncode == 69 and "there are no copies" in done.stderr
