"""A certificate of the machine's own, and a desk that is open."""

import subprocess

import pytest

from tests.scenes import fill, make_season
from tests.web.serving_apps import desk_app, on_socket


@pytest.fixture(scope="session")
def pem(tmp_path_factory):
    """Certificate and key for 127.0.0.1, made by openssl."""
    folder = tmp_path_factory.mktemp("pem")
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"),
            *("-nodes", "-days", "2", "-subj", "/CN=bench", "-keyout", key, "-out", certificate),
            *("-addext", "subjectAltName=IP:127.0.0.1,DNS:bench.example"),
        ],
        check=True,
        capture_output=True,
    )
    return certificate, key


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A season with one frame, noted in its catalogue."""
    season = make_season(tmp_path_factory.mktemp("web") / "bench")
    fill(season, days=1, a_day=1)
    season.index()
    yield season
    season.catalogue.close()


@pytest.fixture(scope="module")
def open_desk(bench):
    """Port of its desk, without a password, on loopback."""
    with on_socket(desk_app(bench.folder)) as port:
        yield port
