"""A published site is whole at every moment, on real servers, and only ours is touched."""

import os
import random
import shutil
import signal
import time
from subprocess import TimeoutExpired

import pytest

from lapsekit.errors import PublishError, SettingsError, TransferError
from lapsekit.publishing import publish
from lapsekit.publishing.places import Folder
from lapsekit.season import Season
from tests.publishing.sites import broken, contents, started, target, write_site
from tests.scenes import SETTINGS, make_season

KINDS = ("folder", "rsync", "sftp", "s3", "webdav")
NOT_AT_ALL = [].append  # how tests wait between attempts
WHOLE = ("folder", "rsync", "sftp", "s3")
NEEDS = {"rsync": ("rsync", "ssh-keygen"), "sftp": ("rclone", "ssh-keygen")}


def at(kind, tmp_path):
    missing = [p for p in NEEDS.get(kind, () if kind == "folder" else ("rclone",))
               if not shutil.which(p)]  # fmt: skip
    if missing:
        pytest.skip(f"{missing[0]} is not installed; tests/run installs it")
    return target(kind, tmp_path)


def season_with(folder, text):
    season = make_season(folder, f"{SETTINGS}\n[publish]\n{text}")
    season.catalogue.close()
    return Season(folder)


@pytest.mark.parametrize("kind", KINDS)
def test_a_site_arrives_grows_and_loses_what_it_no_longer_has(kind, tmp_path):
    with at(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        first = write_site(season.site, 1)
        report = publish(season, wait=NOT_AT_ALL)
        assert contents(place.folder) == first
        assert sorted(report.sent) == sorted(first)
        assert report.sent[-1] == "index.html"
        again = publish(season, wait=NOT_AT_ALL)
        assert (again.sent, again.removed, again.unchanged) == ([], [], len(first))
        second = write_site(season.site, 2)
        report = publish(season, wait=NOT_AT_ALL)
        assert contents(place.folder) == second
        assert sorted(report.removed) == ["day/1/index.html", "pictures/1.jpg"]
        assert report.unchanged == len([n for n in second if second[n] == first.get(n)])
        season.catalogue.close()


@pytest.mark.parametrize("kind", WHOLE)
def test_cut_off_anywhere_readers_find_everything_whole_and_the_next_goes_on(kind, tmp_path):
    """A short form of ``tests/bench/publishing_cuts.py``: six versions, each cut off once."""
    chance = random.Random(3)
    with at(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        season.catalogue.close()
        site, known, took = season.folder / "site", {}, 1.0
        for version in range(1, 7):
            now = write_site(site, version, days=12)
            for name, digest in now.items():
                known.setdefault(name, set()).add(digest)
            process = started(season.folder)
            try:
                process.communicate(timeout=chance.uniform(0.3, 1.0) * took)
            except TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.communicate()
            assert broken(place.folder, known) == []
            began = time.monotonic()
            process = started(season.folder)
            complaint = process.communicate()[1]
            took = time.monotonic() - began
            assert process.returncode == 0, complaint
            assert contents(place.folder) == now


def test_what_others_put_there_stays_and_their_front_page_is_not_overwritten(tmp_path):
    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        site = write_site(season.site, 1)
        place.folder.mkdir()
        (place.folder / "index.html").write_text("somebody else's")
        with pytest.raises(PublishError, match="a front page that lapsekit did not put there"):
            publish(season, wait=NOT_AT_ALL)
        assert (place.folder / "index.html").read_text() == "somebody else's"
        (place.folder / "notes.txt").write_text("mine")
        publish(season, replace=True, wait=NOT_AT_ALL)
        write_site(season.site, 2)
        publish(season, wait=NOT_AT_ALL)
        found = contents(place.folder)
        assert found.pop("notes.txt")
        assert "pictures/1.jpg" not in found and len(found) == len(site)
        season.catalogue.close()


def test_a_dry_run_tells_all_and_touches_nothing(tmp_path):
    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        site = write_site(season.site, 1)
        report = publish(season, dry_run=True)
        assert sorted(report.sent) == sorted(site)
        assert not place.folder.exists()
        season.catalogue.close()


def test_a_bad_line_is_tried_again_after_longer_waits_and_then_given_up(tmp_path, monkeypatch):
    failures, waits = [2], []
    send = Folder.send

    def poor(self, root, names):
        if failures[0] > 0:
            failures[0] -= 1
            raise TransferError("the line broke")
        send(self, root, names)

    monkeypatch.setattr(Folder, "send", poor)
    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        site = write_site(season.site, 1)
        report = publish(season, wait=waits.append)
        assert contents(place.folder) == site
        assert (waits, len(report.failed)) == ([5.0, 20.0], 2)
        write_site(season.site, 2)
        failures[0] = 99
        with pytest.raises(PublishError, match=r"the line broke \(4 attempts"):
            publish(season, wait=waits.append)
        season.catalogue.close()


def test_a_list_that_was_tampered_with_leads_nowhere_outside(tmp_path):
    from lapsekit.publishing.manifest import MANIFEST, packed

    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        write_site(season.site, 1)
        place.folder.mkdir()
        (place.folder / MANIFEST).write_bytes(packed({"../../etc/passwd": "0"}))
        with pytest.raises(PublishError, match="lies outside the site"):
            publish(season, wait=NOT_AT_ALL)
        (place.folder / MANIFEST).write_bytes(b"not a list")
        with pytest.raises(PublishError, match="cannot be read"):
            publish(season, wait=NOT_AT_ALL)
        season.catalogue.close()


def test_nothing_to_publish_and_nowhere_to_publish_to_say_what_to_do(tmp_path):
    season = make_season(tmp_path / "season")
    with pytest.raises(PublishError, match="lapsekit site builds it"):
        publish(season, wait=NOT_AT_ALL)
    write_site(season.site, 1)
    with pytest.raises(SettingsError, match=r"under \[publish\] write to"):
        publish(season, wait=NOT_AT_ALL)
    season.catalogue.close()
    text = 'to = "folder"\ntarget = "site/public"\n'
    inside = season_with(tmp_path / "inside", text)
    write_site(inside.site, 1)
    with pytest.raises(SettingsError, match="must not hold the season's site folder"):
        publish(inside, wait=NOT_AT_ALL)
    inside.catalogue.close()


def test_a_server_that_is_not_there_is_told_with_its_name(tmp_path):
    if not shutil.which("rsync"):
        pytest.skip("rsync is not installed; tests/run installs it")
    text = 'to = "rsync"\ntarget = "127.0.0.1:/nowhere"\nssh_port = 9\n'
    season = season_with(tmp_path / "season", text)
    write_site(season.site, 1)
    with pytest.raises(PublishError, match=r"127\.0\.0\.1:/nowhere failed [^$]*refused"):
        publish(season, wait=NOT_AT_ALL)
    season.catalogue.close()
