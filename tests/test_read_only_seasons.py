"""On a read-only season folder, commands that write nothing into it do what they always do."""

import json
import os
import shutil
import subprocess
from datetime import UTC, datetime

import pytest

from lapsekit.cli.showing import publish
from lapsekit.errors import CatalogueError, PublishError
from lapsekit.measuring import measure
from lapsekit.season import Season
from lapsekit.thinning import thin
from lapsekit.trust import trust
from tests.collecting.benches import collection
from tests.scenes import SETTINGS, fill, make_season
from tests.test_cli import lapsekit, refused, succeeded

OUTWARD = """
[publish]
to = "folder"
target = "{base}/web"

[copies]
to = "folder"
target = "{base}/copies"

[thinning]
keep_all_days = 1
then_a_day = 1
needs_copy = false

[alerts]
to_file = "addresses"
"""
LATER = datetime(2031, 4, 30, 6, tzinfo=UTC)
COLLECTION = '[[season]]\nfolder = "{}"\n'

WRITE_NOTHING = (
    ("publish", "--dry-run"),
    ("thin", "--dry-run"),
    ("copy", "--dry-run"),
    ("propose",),
    ("frames",),
    ("diary",),
)
MUST_WRITE = (
    ("publish",),
    ("site",),
    ("thin",),
    ("copy",),
    ("measure",),
    ("growth",),
    ("propose", "--write"),
)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A measured season with a site, which publishes and copies into folders and thins out."""
    base = tmp_path_factory.mktemp("bench")
    season = make_season(base / "bench", SETTINGS + OUTWARD.format(base=base))
    fill(season, days=3)
    called = season.folder / "addresses"
    called.write_text("json://127.0.0.1:9/\n")
    called.chmod(0o600)
    measure(season)
    season.reopen_catalogue()
    succeeded("site", "--season", season.folder)
    return season.folder


@pytest.fixture(scope="module")
def locked(bench, tmp_path_factory):
    """A trusted copy of it that nobody can write to: for root it takes a read-only disk."""
    disk = tmp_path_factory.mktemp("disk")
    is_root = os.geteuid() == 0
    mount = ["mount", "-t", "tmpfs", "-o", "size=50m", "tmpfs", str(disk)]
    if is_root and subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("mounting a tmpfs is not allowed here")
    folder = shutil.copytree(bench, disk / "bench")
    trust(folder)
    if is_root:
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    else:
        folder.chmod(0o555)
    yield folder
    if is_root:
        subprocess.run(["umount", str(disk)], check=True)
    else:
        folder.chmod(0o755)


def everything(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("command", WRITE_NOTHING, ids=" ".join)
def test_it_tells_of_a_read_only_folder_what_it_tells_of_another(bench, locked, command):
    before = everything(locked)
    told = succeeded(*command, "--season", locked)
    assert told and told == succeeded(*command, "--season", bench)
    assert everything(locked) == before


@pytest.mark.parametrize("command", MUST_WRITE, ids=" ".join)
def test_what_must_write_names_the_folder_and_what_to_look_at(locked, command):
    told = refused(*command, "--season", locked, code=74)
    assert told.startswith(f"lapsekit: {locked}: cannot be written to (")
    assert f"as {command[0]} must: " in told and "check " in told


def test_a_publication_is_told_of_the_site_as_it_lies(bench, locked):
    for folder, then in ((locked, "where its season folder can be"), (bench, "lapsekit site")):
        done = lapsekit("publish", "--dry-run", "--season", folder)
        assert f"{folder / 'site'}: looked at as it was last built; " in done.stderr
        assert then in done.stderr and "  + index.html" in done.stdout


def test_a_dry_run_builds_nothing_even_where_the_site_is_out_of_date(bench, tmp_path):
    folder = shutil.copytree(bench, tmp_path / "bench")
    (folder / "diary.csv").write_text("date,region,event,note\n2031-04-02,basil,fed,told since\n")
    trust(folder)
    before = everything(folder / "site")
    succeeded("publish", "--dry-run", "--season", folder)
    assert everything(folder / "site") == before


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("", "nothing says where to publish"),
        ('to = "rsync"\ntarget = "h:/x"\nssh_key = "none"\n', "publish.ssh_key none: no such file"),
    ],
)
def test_what_the_settings_lack_is_said_before_anything_is_built(bench, tmp_path, table, told):
    folder = shutil.copytree(bench, tmp_path / "bench", ignore=shutil.ignore_patterns("site"))
    text = (folder / "season.toml").read_text()
    head, _, rest = text.partition("[publish]\n")
    (folder / "season.toml").write_text(f"{head}[publish]\n{table}\n[{rest.partition('[')[2]}")
    trust(folder)
    for more in ((), ("--dry-run",)):
        assert told in refused("publish", *more, "--season", folder, code=78)
    assert not (folder / "site").exists()


def test_a_site_that_was_never_built_is_not_told_of_as_it_lies(
    bench, tmp_path, monkeypatch, capsys
):
    folder = shutil.copytree(bench, tmp_path / "bench", ignore=shutil.ignore_patterns("site"))
    trust(folder)
    monkeypatch.setattr(Season, "is_writable", False)
    told = "no site yet; lapsekit site builds it, where its season folder can be written to"
    with pytest.raises(PublishError, match=told):
        publish(season=folder, dry_run=True, replace=False, as_json=False, wait=1)
    assert capsys.readouterr().err == ""


def test_what_goes_out_is_built_first_whatever_a_folder_says_later(bench, tmp_path, monkeypatch):
    folder = shutil.copytree(bench, tmp_path / "bench")
    settings = (
        (folder / "season.toml").read_text().replace(f"{bench.parent}/web", f"{tmp_path}/web")
    )
    (folder / "season.toml").write_text(settings)
    (folder / "diary.csv").write_text("date,region,event,note\n2031-04-02,basil,fed,told since\n")
    trust(folder)
    monkeypatch.setattr(Season, "is_writable", False)
    publish(season=folder, dry_run=False, replace=False, as_json=False, wait=1)
    assert "told since" in (tmp_path / "web" / "diary" / "index.html").read_text()


def test_a_day_is_explained_into_a_file_elsewhere_alone(bench, locked, tmp_path):
    for name, folder in (("there", locked), ("here", bench)):
        out = tmp_path / f"{name}.png"
        assert str(out) in succeeded("explain", "basil", "2031-04-02", "-s", folder, "--out", out)
    assert (tmp_path / "there.png").read_bytes() == (tmp_path / "here.png").read_bytes()
    told = refused("explain", "basil", "2031-04-02", "--season", locked, code=74)
    assert f"{locked}: cannot be written to" in told and "--out" in told


def test_thinning_finds_the_frames_that_would_go(bench, locked):
    """By a clock of the season's time: to the machine's its frames may be yet to come."""
    found = {}
    for folder in (bench, locked):
        season = Season(folder, lambda: LATER)
        with season.catalogue_to_read():
            found[folder] = thin(season, dry_run=True).gone
        season.reopen_catalogue()
    assert len(found[locked]) == 6 and found[locked] == found[bench]


def test_a_check_looks_at_everything_and_says_that_the_folder_is_read_only(bench, locked):
    def amiss(folder):
        found = json.loads(lapsekit("check", "--json", "--season", folder).stdout)["findings"]
        return {f["what"]: f["told"].replace(str(folder), "") for f in found if f["what"] != "disk"}

    told = amiss(locked)
    assert told.pop("season folder") == " cannot be written; check its owner"
    unlike = ("copies", "place of copies", "publishing")  # by disks and what stands there
    of_bench = amiss(bench)
    assert told.keys() == of_bench.keys() and len(told) > 4
    assert {k: v for k, v in told.items() if k not in unlike} == {
        k: v for k, v in of_bench.items() if k not in unlike
    }


def test_whoever_is_called_hears_of_the_folder_and_of_no_catalogue(locked):
    told = succeeded("alert", "--dry-run", "--season", locked)
    assert "season folder: " in told and "catalogue" not in told


def test_a_collection_of_it_is_listed_and_grown_elsewhere(bench, locked, tmp_path):
    tables = {}
    for name, folder in (("there", locked), ("here", bench)):
        (tmp_path / name).mkdir()
        file = collection(tmp_path / name, COLLECTION.format(folder))
        told = json.loads(succeeded("collection", "list", file, "--json"))["seasons"][0]
        succeeded("collection", "growth", file, "--out", tmp_path / name / "growth")
        days = (tmp_path / name / "growth" / "days.csv").read_text()
        tables[name] = (told["frames"], told["measured_to"], days.count("\n"))
    assert tables["there"] == tables["here"] == (9, "2031-04-03", 7)


def test_a_catalogue_that_is_read_as_a_copy_is_told_by_its_own_name(bench, tmp_path, monkeypatch):
    folder = shutil.copytree(bench, tmp_path / "bench")
    (folder / "catalogue.sqlite").write_bytes(b"no database" * 500)
    monkeypatch.setattr("os.access", lambda path, mode: path != folder)
    season = Season(folder)
    with (
        season.catalogue_to_read(),
        pytest.raises(CatalogueError, match=f"^{folder}/catalogue.sqlite: "),
    ):
        season.catalogue.cameras()


def test_reading_within_reading_keeps_the_copy(bench, monkeypatch):
    monkeypatch.setattr("os.access", lambda path, mode: path != bench)
    season = Season(bench)
    with season.catalogue_to_read():
        catalogue = season.catalogue
        with season.catalogue_to_read():
            assert season.catalogue is catalogue
        assert season.catalogue is catalogue and catalogue.daily("basil")
