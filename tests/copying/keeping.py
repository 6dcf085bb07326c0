"""Seasons that are copied to real servers, in processes that can be killed, and what lies there."""

import contextlib
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import tomllib
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.copied import read_copied
from lapsekit.copying.belongings import own_frames, own_texts
from lapsekit.season import Season
from lapsekit.settings import CopiesTable
from tests.conftest import CHECKOUT
from tests.publishing.sites import QUIET, Target, target
from tests.scenes import SETTINGS, fill, make_season

NOT_AT_ALL = [].append  # how tests wait between attempts
KINDS = ("folder", "rsync", "sftp", "s3", "webdav", "sealed", "sealed-s3")
NEEDS = {"folder": (), "rsync": ("rsync", "ssh-keygen"), "sftp": ("rclone", "ssh-keygen")}
PASSWORD = "thyme under glass"
NOW = datetime(2031, 4, 20, 3, 30, tzinfo=UTC)


@contextlib.contextmanager
def far(kind, folder):
    """A place to copy to; ``sealed`` ones are encrypted, onto a folder or another kind."""
    missing = [p for p in NEEDS.get(kind, ("rclone",)) if not shutil.which(p)]
    if missing:
        pytest.skip(f"{missing[0]} is not installed; tests/run installs it")
    if not kind.startswith("sealed"):
        with target(kind, folder) as place:
            yield place
        return
    password = folder / "copies-password"
    password.write_text(f"{PASSWORD}\n")
    password.chmod(0o600)
    sealed = f'encrypt_with = "{password}"\n'
    if kind == "sealed":
        there = folder / "there"
        yield Target(f'to = "rclone"\ntarget = "{there}"\n{sealed}', there)
        return
    with target(kind.removeprefix("sealed-"), folder) as place:
        yield Target(place.settings + sealed, place.folder)


def season_with(folder, text, days=3, now=NOW):
    """Frames of some days, and a text of each sort."""
    made = make_season(folder, f"{SETTINGS}\n[copies]\n{text}")
    fill(made, days=days)
    made.archive.set_aside("bench", NOW + timedelta(days=99), b"of another time", ".jpg")
    made.index()
    made.catalogue.close()
    (folder / "diary.csv").write_text("date,region,event,note\n2031-04-02,basil,fed,\n")
    (folder / "verdicts.csv").write_text("frame,verdict,note\n20310401T090000Z.png,yes,mine\n")
    (folder / "weather.csv").write_text("time,temp_c\n2031-04-01T10:00:00Z,18.5\n")
    (folder / "thinned").mkdir()
    (folder / "thinned" / "2031-03-31.csv").write_text("path,sha256\n")
    (folder / "followers" / "shown").mkdir(parents=True)
    (folder / "followers" / "shown" / "a.jpg").write_bytes(b"a picture" * 200)
    (folder / "followers" / "shown" / "a.toml").write_text("consent = true\n")
    return Season(folder, lambda: now)


def table(season):
    """``[copies]`` as options would give it, on a machine where the season folder is gone."""
    text = (season.folder / "season.toml").read_text()
    return CopiesTable.model_validate(tomllib.loads(text)["copies"])


def belongings(folder):
    """Hashes of all that is copied of a season, by path."""
    season = Season(folder)
    paths = [*own_frames(folder), *own_texts(folder, season.settings)]
    return {path: digest(folder / path) for path in paths}


def digest(file):
    """SHA-256 of a file."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


def flip(file, at=-20):
    """Flip one bit."""
    content = bytearray(file.read_bytes())
    content[at] ^= 1
    file.write_bytes(content)


def falsely_claimed(season_folder, far_folder):
    """Lines of copied.csv whose file is not whole there, of places that are not encrypted."""
    return [
        path
        for path, row in read_copied(season_folder).items()
        if not (far_folder / path).is_file() or digest(far_folder / path) != row.sha256
    ]


COPY = """
import sys, time
from pathlib import Path
from lapsekit.copying import copy
from lapsekit.places import Folder, trying
from lapsekit.season import Season
trying.BATCH_FILES = 3
send = Folder.send
Folder.send = lambda *given: (time.sleep(0.1), send(*given))  # or none is caught at work
copy(Season(Path(sys.argv[1])), wait=lambda seconds: None)
"""
RESTORE = """
import sys, time, tomllib
from pathlib import Path
from lapsekit.copying.restoring import restore
from lapsekit.places import Folder
fetch = Folder.fetch
Folder.fetch = lambda *given: (time.sleep(0.1), fetch(*given))  # or none is caught at work
from lapsekit.places import trying
from lapsekit.settings import CopiesTable
trying.BATCH_FILES = 3
model = CopiesTable.model_validate(tomllib.loads(sys.argv[2])["copies"])
restore(model, Path(sys.argv[1]), wait=lambda seconds: None)
"""


def cut_off(code, arguments, after_s):
    """Run, and kill it with all it started after so long; whether it was still at work."""
    process = subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        cwd=CHECKOUT,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env=os.environ | QUIET,
    )
    try:
        complaint = process.communicate(timeout=after_s)[1]
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        return True
    assert process.returncode == 0, complaint
    return False
