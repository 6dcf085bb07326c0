"""A published site is whole at every moment, on real servers, and only ours is touched."""

import contextlib
import os
import random
import shutil

import pytest

from lapsekit.errors import PublishError, SettingsError, TransferError
from lapsekit.places import Folder, open_place
from lapsekit.publishing import PublishReport, publish
from lapsekit.publishing.manifest import MANIFEST
from lapsekit.season import Season
from lapsekit.telling import published as published_words
from tests.publishing.sites import broken, contents, cut_off, published, target, write_site
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


@pytest.fixture
def umask():
    """Sets what new files let others do, for the time of a test."""
    before = os.umask(0o022)
    yield os.umask
    os.umask(before)


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
    """A short form of ``tests/bench/publishing_cuts.py``: four versions, each cut off once."""
    chance = random.Random(3)
    with at(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        season.catalogue.close()
        site, known, took = season.folder / "site", {}, 1.0
        for version in range(1, 5):
            now = write_site(site, version, days=12)
            for name, digest in now.items():
                known.setdefault(name, set()).add(digest)
            cut_off(season.folder, chance.uniform(0.3, 1.0) * took)
            assert broken(place.folder, known) == []
            took = published(season.folder)
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


def test_no_file_of_somebody_elses_is_overwritten_or_deleted(tmp_path):
    """Without a front page of theirs too; and what lapsekit never sent is not its own to remove."""
    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        write_site(season.site, 1)
        theirs = place.folder / "assets" / "style.css"
        theirs.parent.mkdir(parents=True)
        theirs.write_text("theirs")
        (place.folder / "day").mkdir()
        (place.folder / "day" / ".part-their-upload").write_text("half")
        with pytest.raises(PublishError, match=r"holds assets/style\.css, which lapsekit did not"):
            publish(season, wait=NOT_AT_ALL)
        assert contents(place.folder).keys() == {"assets/style.css", "day/.part-their-upload"}
        publish(season, replace=True, wait=NOT_AT_ALL)
        (place.folder / "pictures" / "21.jpg").write_text("theirs")  # the next day's name
        write_site(season.site, 2)
        with pytest.raises(PublishError, match=r"holds pictures/21\.jpg"):
            publish(season, wait=NOT_AT_ALL)
        assert (place.folder / "pictures" / "21.jpg").read_text() == "theirs"
        assert (place.folder / "day" / ".part-their-upload").exists()
        season.catalogue.close()


@pytest.mark.parametrize("kind", ["rsync", "sftp", "s3"])
def test_a_file_of_somebody_elses_is_found_on_real_servers_too(kind, tmp_path):
    with at(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        write_site(season.site, 1, days=3)
        (place.folder / "assets").mkdir(parents=True)
        (place.folder / "assets" / "style.css").write_text("theirs")
        with pytest.raises(PublishError, match=r"holds assets/style\.css, which lapsekit did not"):
            publish(season, wait=NOT_AT_ALL)
        assert contents(place.folder).keys() == {"assets/style.css"}
        season.catalogue.close()


def test_another_seasons_site_is_not_replaced_unasked(tmp_path):
    with target("folder", tmp_path) as place:
        first = season_with(tmp_path / "first", place.settings)
        there = write_site(first.site, 1)
        publish(first, wait=NOT_AT_ALL)
        first.catalogue.close()
        other = season_with(tmp_path / "other", place.settings)
        now = write_site(other.site, 9)
        with pytest.raises(PublishError, match="the site of another season folder"):
            publish(other, wait=NOT_AT_ALL)
        assert contents(place.folder) == there
        publish(other, replace=True, wait=NOT_AT_ALL)
        assert contents(place.folder) == now
        other.catalogue.close()


def test_cut_off_twice_new_pages_still_go_before_those_that_link_them(tmp_path, monkeypatch):
    """Every batch of every attempt is the last: with each cut the site must be whole."""
    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        known = {}
        for version in (1, 2):
            for name, digest in write_site(season.site, version, days=5).items():
                known.setdefault(name, set()).add(digest)
            if version == 1:
                publish(season, wait=NOT_AT_ALL)
        send = Folder.send
        for left in range(40):
            cut = [left % 4]

            def some(self, root, names, cut=cut):
                for name in names:
                    if cut[0] == 0:
                        raise KeyboardInterrupt
                    cut[0] -= 1
                    send(self, root, [name])

            monkeypatch.setattr(Folder, "send", some)
            monkeypatch.setattr("lapsekit.places.trying.BATCH_FILES", 1)
            with contextlib.suppress(KeyboardInterrupt):
                publish(season, wait=NOT_AT_ALL)
            assert broken(place.folder, known) == []
        monkeypatch.setattr(Folder, "send", send)
        publish(season, wait=NOT_AT_ALL)
        assert broken(place.folder, known) == []
        season.catalogue.close()


def test_replace_repairs_a_far_side_that_lost_files(tmp_path):
    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        site = write_site(season.site, 1)
        publish(season, wait=NOT_AT_ALL)
        shutil.rmtree(place.folder / "pictures")
        (place.folder / "index.html").write_text("spoilt")
        publish(season, replace=True, wait=NOT_AT_ALL)
        assert contents(place.folder) == site
        season.catalogue.close()


def test_a_list_that_was_cut_off_itself_stops_nothing(tmp_path):
    from lapsekit.publishing.manifest import MANIFEST, STATE

    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        write_site(season.site, 1)
        publish(season, wait=NOT_AT_ALL)
        whole = (place.folder / MANIFEST).read_bytes()
        (place.folder / MANIFEST).write_bytes(whole[: len(whole) // 2])
        (place.folder / STATE).write_bytes(b"under way\n")
        site = write_site(season.site, 1, days=22)
        publish(season, wait=NOT_AT_ALL)
        assert contents(place.folder) == site
        season.catalogue.close()


@pytest.mark.parametrize(
    "text",
    [
        'to = "rsync"\ntarget = "www.host.tld/srv/www"',
        'to = "folder"\ntarget = "me@host:/srv/www"',
        'to = "rclone"\ntarget = ":ftp,host=h,user=u,pass=SECRET:x"',
        'to = "rclone"\ntarget = "far,pass=SECRET:x"',
        'to = "rsync"\ntarget = "--rsh=sh"',
    ],
)
def test_targets_that_would_go_astray_are_refused(text, tmp_path):
    with pytest.raises(SettingsError, match=r"publish") as told:
        season_with(tmp_path / "season", text)
    assert "traceback" not in str(told.value).lower()


def test_a_linked_folder_on_the_far_side_stays_one_and_pages_can_be_read_by_all(tmp_path):
    """An rsync that follows no links says so and fails; none turns the link into a folder."""
    with at("rsync", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        (tmp_path / "big").mkdir()
        place.folder.mkdir()
        (place.folder / "pictures").symlink_to(tmp_path / "big")
        site = write_site(season.site, 1, days=3)
        with contextlib.suppress(PublishError):
            publish(season, wait=NOT_AT_ALL)
        assert (place.folder / "pictures").is_symlink()
        (place.folder / "pictures").unlink()
        publish(season, wait=NOT_AT_ALL, replace=True)
        assert contents(place.folder) == site
        modes = {file.stat().st_mode & 0o777 for file in place.folder.rglob("*.html")}
        assert modes == {0o644}
        season.catalogue.close()


def modes_of(folder):
    """Modes of the files, and of the folders, at and below a folder."""
    found = [folder, *folder.rglob("*")]
    return tuple(
        {f.stat().st_mode & 0o777 for f in found if f.is_dir() == is_folder}
        for is_folder in (False, True)
    )


def test_a_local_folder_can_be_read_by_a_web_server_whatever_the_service_lets_others_read(
    tmp_path, umask
):
    """The shipped unit sets UMask=0027."""
    umask(0o027)
    text = f'to = "folder"\ntarget = "{tmp_path / "www" / "roof"}"\n'
    season = season_with(tmp_path / "season", text)
    for version in (1, 2):
        write_site(season.site, version, days=3)
        publish(season, wait=NOT_AT_ALL)
        assert modes_of(tmp_path / "www") == ({0o644}, {0o755})
    season.catalogue.close()


def test_a_disk_that_knows_no_modes_takes_a_site(tmp_path, monkeypatch):
    """As a stick's file system, which answers so."""

    def refused(self, mode):
        raise PermissionError(1, "Operation not permitted", str(self))

    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        monkeypatch.setattr("pathlib.Path.chmod", refused)
        site = write_site(season.site, 1, days=3)
        publish(season, wait=NOT_AT_ALL)
        assert contents(place.folder) == site
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
    from lapsekit.publishing.manifest import MANIFEST, Owner, packed

    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        write_site(season.site, 1)
        place.folder.mkdir()
        (place.folder / MANIFEST).write_bytes(packed({"../../etc/passwd": "0"}, Owner("a", "A")))
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
    with pytest.raises(SettingsError, match=r"under \[publish\] write both"):
        publish(season, wait=NOT_AT_ALL)
    season.catalogue.close()
    text = 'to = "folder"\ntarget = "site/public"\n'
    inside = season_with(tmp_path / "inside", text)
    write_site(inside.site, 1)
    with pytest.raises(SettingsError, match="must not hold the season folder"):
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


@pytest.mark.parametrize("kind", KINDS)
def test_what_went_there_since_is_found_without_reading_it_and_sent_again(kind, tmp_path):
    """Pages that went come before those that link them, as new ones do."""
    with at(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        site = write_site(season.site, 1, days=3)
        publish(season, wait=NOT_AT_ALL)
        hand = open_place(season.settings.publish, season.folder)  # whom every server notices
        pictures = [f"pictures/{day}.jpg" for day in (1, 2, 3)]
        hand.remove([*pictures, "day/2/index.html"])
        (tmp_path / "index.html").write_text("changed by hand")
        hand.send(tmp_path, ["index.html"])
        would = publish(season, dry_run=True, wait=NOT_AT_ALL)
        report = publish(season, wait=NOT_AT_ALL)
        assert report.sent == would.sent and sorted(report.sent) == report.amiss
        assert contents(place.folder) == site
        assert report.sent == [*pictures, "day/2/index.html", "index.html"]
        again = publish(season, wait=NOT_AT_ALL)
        assert (again.sent, again.unchanged) == ([], len(site))
        season.catalogue.close()


@pytest.mark.parametrize("kind", KINDS)
def test_sizes_are_told_of_many_files_as_of_few_and_of_none_that_is_not_there(kind, tmp_path):
    with at(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        sizes = {f"{n % 3}/deep/{n}, ä #{n}.txt": n for n in range(1, 230)} | {"top.txt": 7}
        for name, size in sizes.items():
            (tmp_path / "here" / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / "here" / name).write_bytes(b"x" * size)
        there = open_place(season.settings.publish, season.folder)
        there.send(tmp_path / "here", [*sizes])
        few = ["1/deep/none.txt", "none/none.txt", "top.txt", "1/deep/1, ä #1.txt"]
        assert there.sizes(few) == {"top.txt": 7, "1/deep/1, ä #1.txt": 1}
        assert there.sizes([*sizes, *few]) == sizes
        season.catalogue.close()


def test_what_went_there_comes_again_with_a_change_too_and_so_does_the_list(tmp_path):
    with target("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        write_site(season.site, 1, days=3)
        publish(season, wait=NOT_AT_ALL)
        (place.folder / "pictures" / "2.jpg").unlink()
        site = write_site(season.site, 2, days=3)
        report = publish(season, wait=NOT_AT_ALL)
        assert report.amiss == ["pictures/2.jpg"] and contents(place.folder) == site
        (place.folder / MANIFEST).unlink()
        assert publish(season, wait=NOT_AT_ALL).sent == []
        write_site(season.site, 3, days=3)
        publish(season, wait=NOT_AT_ALL)
        season.catalogue.close()


@pytest.mark.parametrize("kind", KINDS)
def test_content_that_was_spoilt_there_is_found_when_it_is_asked_for(kind, tmp_path):
    """Names and sizes are as they should be; only reading tells."""
    with at(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        site = write_site(season.site, 1, days=3)
        publish(season, wait=NOT_AT_ALL)
        (tmp_path / "pictures").mkdir()
        size = (season.site / "pictures" / "2.jpg").stat().st_size
        (tmp_path / "pictures" / "2.jpg").write_bytes(b"x" * size)
        open_place(season.settings.publish, season.folder).send(tmp_path, ["pictures/2.jpg"])
        assert publish(season, wait=NOT_AT_ALL).sent == []
        report = publish(season, verify=True, wait=NOT_AT_ALL)
        assert (report.sent, report.amiss) == (["pictures/2.jpg"], ["pictures/2.jpg"])
        assert contents(place.folder) == site
        season.catalogue.close()


def test_the_words_claim_no_more_than_was_looked_at():
    whole = PublishReport("there", unchanged=2)
    start = "nothing to send to there: 2 files there, "
    said = published_words(whole, dry_run=False)
    assert said == [f"{start}by name and size (--verify compares what is in them)"]
    whole.compared = True
    said = published_words(whole, dry_run=False)
    assert said == [f"{start}with the content they should have"]
    told = published_words(PublishReport("there", sent=["a"], amiss=["a"]), dry_run=False)
    assert told[-1] == "gone or changed there since it was put there: a"
