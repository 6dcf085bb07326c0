"""Real Dask schedulers and workers, seasons to measure on them, and all that a catalogue holds."""

import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import ExitStack, contextmanager

import pytest

from lapsekit.clusters.joining import Certificates, joined
from lapsekit.clusters.measuring_there import MeasuringThere
from lapsekit.measuring import measure
from lapsekit.season import Season
from lapsekit.trust import trust
from tests.conftest import CHECKOUT
from tests.publishing.sites import await_port, free_port

SAMPLE = CHECKOUT / "sample_frames"
DAYS = ("2026-03-12", "2026-04-06", "2026-04-13", "2026-04-14", "2026-04-15", "2026-04-16")
"""With the first frame, that the others are held to, those that strokes lie on, and a knock."""


def sample_season(folder, days=DAYS, a_day=4, strokes=True):
    """Some of the sample season's frames, with its outlines and strokes of a brush."""
    folder.mkdir(parents=True)
    for name in ("season.toml", "regions.toml"):
        shutil.copy(SAMPLE / name, folder / name)
    if strokes:
        shutil.copy(SAMPLE / "strokes.csv", folder / "colours.csv")
    for day in days:
        there = folder / "frames" / "bench" / day
        there.mkdir(parents=True)
        for frame in sorted((SAMPLE / "frames" / "bench" / day).glob("*.jpg"))[:a_day]:
            shutil.copy(frame, there)
    trust(folder)
    return Season(folder)


def copy_of(season, folder):
    """Another season of the same frames and texts, with nothing measured."""
    shutil.copytree(
        season.folder, folder, ignore=shutil.ignore_patterns("catalogue.*", ".cache", "measured")
    )
    trust(folder)
    return Season(folder)


def without_catalogue(season):
    """The season as if its catalogue had never been: all that was measured is gone from it."""
    season.catalogue.close()
    for file in season.folder.glob("catalogue.sqlite*"):
        file.unlink()
    return Season(season.folder)


def frames_elsewhere(season):
    """A folder beside the season's own that holds its frames too."""
    there = season.folder.parent / "elsewhere"
    shutil.copytree(season.folder / "frames", there)
    return there


def with_frames_at(season, address, access=None):
    """The season, its frames gone from its folder and said to lie at an address."""
    shutil.rmtree(season.folder / "frames")
    lines = [f'at = "{address}"'] + ([f'access_file = "{access}"'] if access else [])
    text = (season.folder / "season.toml").read_text()
    (season.folder / "season.toml").write_text(text + "\n[frames]\n" + "\n".join(lines) + "\n")
    return Season(season.folder)


_QUESTIONS = (
    "SELECT camera, taken_at, day, path, sha256, size, width, height FROM frame ORDER BY path",
    "SELECT path, mark, reasons, luminance, clipped, blur, figures, told, watched FROM screening"
    " JOIN frame ON id = frame_id LEFT JOIN figures USING (frame_id) ORDER BY path",
    "SELECT path, matrix, residual_px, error_px, how FROM placement JOIN frame ON id = frame_id"
    " ORDER BY path",
    "SELECT path, region, mark, region_px, canopy_px, cover, area_cm2, greenness, yellow_share,"
    " red_share, unsure FROM measurement JOIN frame ON id = frame_id ORDER BY path, region",
    "SELECT * FROM daily ORDER BY region, day",
    "SELECT * FROM judging ORDER BY camera",
)


def everything(season):
    """Every row of a season's catalogue, every bit of its numbers, and hashes of its shapes."""
    season.reopen_catalogue()
    with sqlite3.connect(season.folder / "catalogue.sqlite") as db:
        tables = [[tuple(map(_bits, row)) for row in db.execute(asked)] for asked in _QUESTIONS]
    db.close()
    kept = season.folder / ".cache" / "canopy"
    shapes = {
        str(file.relative_to(kept)): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(kept.rglob("*.png"))
    }
    assert tables[0] and tables[3] and tables[4] and shapes
    return tables, shapes


def _bits(value):
    return value.hex() if isinstance(value, float) else value


def measured_here(season):
    """The same, measured in this process alone."""
    measure(season, workers=1)
    return everything(season)


def measured_on(season, address, processes=None, certificates=None, **more):
    """The same, measured on a cluster; and the report."""
    frames_at = more.pop("frames_at", None)
    with joined(address, processes, certificates) as machines:
        there = MeasuringThere(machines, frames_at)
        report = measure(season, elsewhere=there, **more)
    return everything(season), report, there


@contextmanager
def program(*arguments, env=None):
    """One of Dask's programs while it is needed."""
    command = [sys.executable, "-m", "dask", *map(str, arguments)]
    silent = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "PYTHONWARNINGS": "ignore"}
    process = subprocess.Popen(command, **silent, env={**environment, **(env or {})}, cwd="/")
    try:
        yield process
    finally:
        process.kill()
        process.wait()


class Processes(list):
    """Those of the workers; that of the scheduler beside them."""


@contextmanager
def cluster(workers=2, certificates=None, threads=1, scheduler_env=None, worker_env=None):
    """A scheduler with workers of their own processes; its address, and they."""
    port = free_port()
    kind = "tls" if certificates else "tcp"
    address = f"{kind}://127.0.0.1:{port}"
    tls = []
    if certificates:
        tls = ["--tls-ca-file", certificates.authority, "--tls-cert", certificates.own]
        tls += ["--tls-key", certificates.key]
    where = ["--host", f"{kind}://127.0.0.1", "--no-dashboard", *tls]
    with ExitStack() as stack:
        scheduler = program("scheduler", *where, "--port", port, env=scheduler_env)
        process = stack.enter_context(scheduler)
        await_port(port, process)
        options = ["--no-nanny", "--nthreads", threads, "--death-timeout", 60, *where]
        each = [program("worker", address, *options, env=worker_env) for _ in range(workers)]
        processes = Processes(stack.enter_context(one) for one in each)
        processes.scheduler = process
        yield address, processes


def await_workers(machines, count):
    """Wait until so many workers have joined."""
    deadline = time.monotonic() + 60
    while len(machines.workers()) < count:
        assert time.monotonic() < deadline, "workers do not join"
        time.sleep(0.1)


def dies(told, item):
    """A task that no process survives."""
    os.kill(os.getpid(), signal.SIGKILL)


def sleeps(seconds, item):
    """A task that takes long."""
    time.sleep(seconds)


def certificates(folder, name="cluster"):
    """An authority, and a certificate for 127.0.0.1 that it signed, made by openssl."""
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on this machine to make certificates with")
    folder.mkdir(parents=True, exist_ok=True)
    curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    paths = {part: folder / part for part in ("ca.pem", "ca.key", "own.csr", "own.pem", "own.key")}
    _openssl("req", "-x509", *curve, "-days", 2, "-subj", f"/CN=authority of {name}",
             "-keyout", paths["ca.key"], "-out", paths["ca.pem"])  # fmt: skip
    _openssl("req", *curve, "-subj", f"/CN={name}", "-keyout", paths["own.key"],
             "-out", paths["own.csr"])  # fmt: skip
    (folder / "names").write_text("subjectAltName=IP:127.0.0.1,DNS:localhost\n")
    _openssl("x509", "-req", "-in", paths["own.csr"], "-CA", paths["ca.pem"], "-CAkey",
             paths["ca.key"], "-CAcreateserial", "-days", 2, "-extfile", folder / "names",
             "-out", paths["own.pem"])  # fmt: skip
    return Certificates(paths["ca.pem"], paths["own.pem"], paths["own.key"])


def _openssl(*arguments):
    subprocess.run(["openssl", *map(str, arguments)], check=True, capture_output=True)
