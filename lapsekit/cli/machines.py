"""Options of the commands that measure on other machines, and the connection to those."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lapsekit import telling
from lapsekit.cli.application import hint
from lapsekit.errors import SettingsError

if TYPE_CHECKING:
    from lapsekit.clusters.spreading import Machines

On = Annotated[
    str | None,
    typer.Option(
        metavar="URL",
        help="Measure on a Dask cluster: tls://HOST:PORT, tcp://HOST:PORT, or local for "
        "processes of this machine. A scheduler runs whatever it is sent: let nobody else "
        "reach its port, and never without TLS from the internet.",
    ),
]


def _pem(told: str):
    return typer.Option(exists=True, dir_okay=False, help=told, show_default="none")


TlsAuthority = Annotated[Path | None, _pem("Certificate of the cluster's authority, PEM.")]


TlsCertificate = Annotated[Path | None, _pem("Our own certificate, PEM.")]


TlsKey = Annotated[Path | None, _pem("Its private key, PEM.")]


@contextmanager
def machines(
    on: str | None,
    workers: int | None,
    authority: Path | None,
    certificate: Path | None,
    key: Path | None,
    frames_at: str | None,
) -> "Iterator[Machines | None]":
    """The cluster that ``--on`` names, while it is needed; None where it names none.

    Options that mean nothing without one, such as ``--frames-at``, are refused then.
    """
    tls = [authority, certificate, key]
    if on is None:
        if frames_at is not None or any(tls):
            raise SettingsError(
                "--frames-at and --tls-… are for measuring --on a cluster; leave them out, or give "
                "--on"
            )
        yield None
        return
    from lapsekit.clusters.joining import HERE as OWN_PROCESSES
    from lapsekit.clusters.joining import Certificates, joined

    if any(tls) and not all(tls):
        raise SettingsError("--tls-ca, --tls-certificate and --tls-key belong together")
    if workers is not None and on != OWN_PROCESSES:
        raise SettingsError(f"--workers counts processes of --on {OWN_PROCESSES}; leave it out")
    with joined(on, workers, Certificates(*tls) if all(tls) else None) as found:
        hint(telling.cluster_joined(found))
        yield found
