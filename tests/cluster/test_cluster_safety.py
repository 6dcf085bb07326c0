"""Who is spoken to, how, and what is sent: certificates, versions, passwords, extras."""

import json
import os
import pickle
import re
import shutil
import subprocess
import sys
from dataclasses import replace

import pytest

from lapsekit.clusters import joining, measuring_there
from lapsekit.clusters.job import Place, job_of
from lapsekit.clusters.joining import joined
from lapsekit.clusters.measuring_there import MeasuringThere
from lapsekit.clusters.versions import differences, versions
from lapsekit.errors import ClusterError, SettingsError
from lapsekit.frames.far import FarFrames
from lapsekit.measuring import measure
from lapsekit.ruler import Ruler
from lapsekit.season import Season
from lapsekit.telling import cluster_joined
from tests.cluster.clusters import (
    await_workers,
    certificates,
    cluster,
    everything,
    frames_elsewhere,
    with_frames_at,
)
from tests.conftest import CHECKOUT
from tests.publishing.sites import free_port


@pytest.fixture(scope="module")
def ours(tmp_path_factory):
    return certificates(tmp_path_factory.mktemp("ours"))


@pytest.fixture
def impatient(monkeypatch):
    monkeypatch.setattr(joining, "_REACH_S", 2)


def test_over_tls_with_certificates_on_both_sides_the_numbers_are_the_same(
    drawn, wanted_drawn, ours, impatient, tmp_path
):
    """The command does it; without certificates, or with those of another authority, none can."""
    with cluster(workers=2, certificates=ours) as (address, _):
        options = ["--tls-ca", ours.authority, "--tls-certificate", ours.own, "--tls-key", ours.key]
        done = lapsekit("measure", "--json", "--season", drawn.folder, "--on", address, *options)
        assert done.returncode == 0, done.stderr
        facts = json.loads(done.stdout)
        assert facts["measured"] == 15
        assert facts["cluster"]["address"] == address and facts["cluster"]["tasks"] >= 5
        assert f"{address}: " in done.stderr and "dashboard http" in done.stderr
        assert "caution" not in done.stderr
        assert everything(drawn) == wanted_drawn
        strangers = certificates(tmp_path / "strangers")
        refused = "no Dask scheduler answers there .* certificates of the same authority"
        for theirs in (strangers, replace(strangers, authority=ours.authority)):
            with pytest.raises(ClusterError, match=refused), joined(address, None, theirs):
                pass
        plain = address.replace("tls:", "tcp:")
        with pytest.raises(ClusterError, match=refused), joined(plain):
            pass


def lapsekit(*arguments, **environment):
    command = [sys.executable, "-m", "lapsekit", *map(str, arguments)]
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), **environment}
    return subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=CHECKOUT, env=environment
    )


def test_nobody_else_on_this_machine_can_send_work_to_its_own_processes(own, impatient):
    scheduler = own._client.scheduler.address
    assert scheduler.startswith("tls://")
    plain = scheduler.replace("tls:", "tcp:")
    with pytest.raises(ClusterError, match="no Dask scheduler answers"), joined(plain):
        pass
    assert own.dashboard.startswith("http://127.0.0.1:")


def test_a_scheduler_that_is_not_there_is_told_by_its_address(impatient):
    address = f"tcp://127.0.0.1:{free_port()}"
    with pytest.raises(ClusterError, match=f"{address}: no Dask scheduler"), joined(address):
        pass


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--on", "host"], "write tls://HOST:PORT or tcp://HOST:PORT"),
        (["--on", "tls://host"], "write tls://HOST:PORT"),
        (["--on", "tcp://host:99999999"], "write tls://HOST:PORT"),
        (["--on", "tls://host:8786"], "needs --tls-ca, --tls-certificate and --tls-key"),
        (["--on", "tls://host:8786", "--tls-ca", "season.toml"], "belong together"),
        (["--on", "tcp://host:8786", "--workers", "4"], "--workers counts processes"),
        (["--frames-at", "s3://bench"], "are for measuring --on a cluster"),
    ],
)
def test_options_that_do_not_fit_are_refused(drawn, options, said):
    (drawn.folder / "season.toml").touch()
    given = [str(drawn.folder / o) if o == "season.toml" else o for o in options]
    done = lapsekit("measure", "--season", drawn.folder, *given)
    assert done.returncode == 78
    assert said in done.stderr


def test_a_worker_of_another_version_is_named_and_given_nothing(drawn, tmp_path):
    """It gets a lapsekit of its own, in which one file of the package differs."""
    shutil.copytree(CHECKOUT / "lapsekit", tmp_path / "other" / "lapsekit")
    ruler = tmp_path / "other" / "lapsekit" / "ruler.py"
    ruler.write_text(ruler.read_text() + "\n# changed\n")
    other = {"PYTHONPATH": str(tmp_path / "other")}
    with cluster(workers=1, worker_env=other) as (address, _), joined(address) as machines:
        with pytest.raises(ClusterError) as caught:
            measure(drawn, elsewhere=MeasuringThere(machines))
        worker = machines.workers()[0]
        said = rf"worker {worker} has the code of lapsekit [0-9a-f]{{12}} instead of "
        assert re.fullmatch(said + "[0-9a-f]{12}", str(caught.value))
        assert machines.tasks == 0
    assert drawn.catalogue.screenings() == []


def test_a_worker_of_another_version_that_joins_late_is_refused_by_itself(drawn, own, monkeypatch):
    """The first look finds nothing wrong; the worker looks again before it gives any number."""
    here = {**versions(), "numpy": "1.0"}
    monkeypatch.setattr(measuring_there, "versions", lambda: here)
    monkeypatch.setattr(own, "ask", lambda *told: None)
    said = f"worker {own.workers()[0]}: has numpy {versions()['numpy']} instead of 1.0"
    with pytest.raises(ClusterError, match=re.escape(said)):
        measure(drawn, elsewhere=MeasuringThere(own))


def test_every_version_that_shapes_a_number_is_compared():
    here = versions()
    assert here.keys() >= {"lapsekit", "OpenCV", "numpy", "scikit-image", "scipy"}
    assert differences(here, here) == []
    for name in here:
        assert differences({**here, name: "0"}, here) == [f"{name} 0 instead of {here[name]}"]


def test_workers_that_do_not_reach_the_frames_are_named_before_anything_is_sent(drawn, own):
    own_tasks = own.tasks
    with pytest.raises(ClusterError) as caught:
        measure(drawn, elsewhere=MeasuringThere(own, "file:///nowhere/at/all"))
    assert f"worker {own.workers()[0]} cannot read frames: file:///nowhere" in str(caught.value)
    assert own.tasks == own_tasks


def test_a_login_is_sent_over_tls_or_within_this_machine_only(drawn, own, monkeypatch):
    there = frames_elsewhere(drawn)
    (drawn.folder / "access").write_text("auto_mkdir = false\n")
    (drawn.folder / "access").chmod(0o600)
    season = with_frames_at(drawn, there.as_uri(), "access")
    monkeypatch.setattr(own, "is_private", False)
    with pytest.raises(SettingsError, match="access_file is not sent to local"):
        measure(season, elsewhere=MeasuringThere(own))
    monkeypatch.setattr(own, "is_private", True)
    assert measure(season, elsewhere=MeasuringThere(own)).measured == 15


@pytest.mark.parametrize(
    ("address", "private"),
    [("local", True), ("tls://host:1", True), ("tcp://host:1", False), ("tcp://127.0.0.1:1", True)],
)
def test_what_is_private_is_tls_and_this_machine(address, private):
    assert joining._is_private(address) is private


def test_a_job_holds_neither_where_the_bench_stands_nor_how_a_camera_is_reached(drawn):
    settings = drawn.folder / "season.toml"
    camera = 'kind = "http"\nurl = "http://10.0.0.7/still.jpg"\nuser = "grower"\n'
    camera += 'password_file = "camera-password"'
    text = settings.read_text().replace('kind = "files"', camera)
    settings.write_text(f"{text}\n[place]\nlatitude = 52.123\nlongitude = 13.456\n")
    season = Season(drawn.folder)
    season.index()
    ruler = Ruler(season)
    sent = job_of(ruler, ["bench"], Place(FarFrames("s3://bench"), versions()))
    told = pickle.dumps(sent) + repr(sent.settings).encode()
    for word in ("10.0.0.7", "grower", "camera-password", "52.123", "13.456", "Test bench"):
        assert word.encode() not in told
    assert sent.settings.cameras["bench"].scale == season.settings.cameras["bench"].scale
    assert len(told) < 2_000_000


@pytest.mark.parametrize("missing", ["distributed", "pyarrow"])
def test_without_the_extra_the_command_says_which_to_install(drawn, tmp_path, missing):
    (tmp_path / f"{missing}.py").write_text("raise ImportError")
    path = os.pathsep.join([str(tmp_path), str(CHECKOUT)])
    arguments = ["measure", "--season", drawn.folder, "--on", "local", "--workers", 1]
    done = lapsekit(*arguments, PYTHONPATH=path)
    assert done.returncode == 69
    assert "config/constraints.txt '.[cluster]'" in done.stderr


@pytest.mark.parametrize(
    ("missing", "address"),
    [
        ("fsspec", "file:///nowhere"),
        ("s3fs", "s3://never-used-bucket"),
        ("paramiko", "sftp://host/nowhere"),
    ],
)
def test_without_the_library_of_an_address_it_says_so_too(drawn, tmp_path, missing, address):
    (tmp_path / f"{missing}.py").write_text("raise ImportError")
    season = with_frames_at(drawn, address)
    path = os.pathsep.join([str(tmp_path), str(CHECKOUT)])
    done = lapsekit("index", "--season", season.folder, PYTHONPATH=path)
    assert done.returncode == 69
    assert f"reading frames at {address} needs the extra [cluster]" in done.stderr


def test_a_scheduler_in_the_open_is_cautioned_against(drawn):
    with cluster(workers=1) as (address, _), joined(address) as machines:
        await_workers(machines, 1)
        assert len(cluster_joined(machines)) == 1
        machines.is_private = False
        assert "can run programs on its workers" in cluster_joined(machines)[1]


def test_measuring_here_loads_nothing_of_dask(drawn):
    code = (
        "import sys, pathlib; from lapsekit.season import Season; from lapsekit.measuring import "
        f"measure; measure(Season(pathlib.Path({str(drawn.folder)!r})), 1);"
        "print([m for m in ('dask', 'distributed', 'fsspec', 'pyarrow') if m in sys.modules])"
    )
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=CHECKOUT)
    assert done.stdout.strip() == "[]"
