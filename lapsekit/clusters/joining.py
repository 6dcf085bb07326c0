"""Dask: a cluster joined, or made of this machine's processes.

A Dask scheduler runs whatever it is sent by whoever reaches it. Between machines it is spoken to
over TLS, with certificates on both sides; what is made here of this machine's processes is, too.
"""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from lapsekit.clusters.spreading import Machines, first_line
from lapsekit.errors import ClusterError, MissingExtra, SettingsError

HERE = "local"
_REACH_S = 15
_NEAR = {"localhost", "127.0.0.1", "::1"}


@dataclass(frozen=True)
class Certificates:
    """PEM files: the authority that signed the cluster's certificates, our own, and its key."""

    authority: Path
    own: Path
    key: Path


@contextmanager
def joined(
    address: str, processes: int | None = None, certificates: Certificates | None = None
) -> Iterator[Machines]:
    """A cluster, for as long as it is needed.

    Parameters
    ----------
    address : str
        ``tls://HOST:PORT`` or ``tcp://HOST:PORT`` of a Dask scheduler, or ``local`` for worker
        processes of this machine.
    processes : int, optional
        How many of these; one a core by default.
    certificates : Certificates, optional
        For ``tls://``.

    Raises
    ------
    MissingExtra
        Without the extra [cluster].
    SettingsError
        If the address is none, or certificates are missing.
    ClusterError
        If it does not answer, or no worker joins it.
    """
    dask = _distributed()
    _check_address(address, certificates)
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # we tell in our own words
    if address == HERE:
        with _processes(dask, processes) as cluster, dask.Client(cluster) as client:
            yield Machines(client, address, _is_private(address))
        return
    try:
        client = dask.Client(address, security=_security(dask, certificates), timeout=_REACH_S)
    except (OSError, TimeoutError, ValueError) as error:
        raise ClusterError(
            f"{address}: no Dask scheduler answers there ({first_line(error)}); check that it "
            "runs, its port, and that both sides use TLS with certificates of the same authority, "
            "or neither does"
        ) from error
    try:
        yield Machines(client, address, _is_private(address))
    finally:
        client.close()


def _is_private(address: str) -> bool:
    """Whether nobody on the way can read what is sent there."""
    return not address.startswith("tcp:") or urlsplit(address).hostname in _NEAR


def _distributed() -> Any:
    try:
        import distributed
    except ImportError as error:
        raise MissingExtra("measuring on a cluster", "cluster") from error
    return distributed


def _check_address(address: str, certificates: Certificates | None) -> None:
    if address == HERE:
        if certificates is not None:
            raise SettingsError(f"--on {HERE} makes certificates of its own; leave --tls-… out")
        return
    told = urlsplit(address)
    if told.scheme not in ("tls", "tcp") or not told.hostname or not _port(told):
        raise SettingsError(
            f"--on {address}: write tls://HOST:PORT or tcp://HOST:PORT of a Dask scheduler, or "
            f"{HERE} for processes of this machine"
        )
    if told.scheme == "tls" and certificates is None:
        raise SettingsError(f"--on {address} needs --tls-ca, --tls-certificate and --tls-key")
    if told.scheme == "tcp" and certificates is not None:
        raise SettingsError(f"--on {address}: certificates are for tls://HOST:PORT")


def _port(told: Any) -> int | None:
    try:
        return told.port
    except ValueError:
        return None


def _security(dask: Any, certificates: Certificates | None) -> Any:
    if certificates is None:
        return None
    return dask.Security(
        tls_ca_file=str(certificates.authority),
        tls_client_cert=str(certificates.own),
        tls_client_key=str(certificates.key),
        require_encryption=True,
    )


@contextmanager
def _processes(dask: Any, count: int | None) -> Iterator[Any]:
    """Worker processes of this machine, which nobody else on it can send work to."""
    with dask.LocalCluster(
        n_workers=count,
        threads_per_worker=1,
        processes=True,
        security=dask.Security.temporary(),
        protocol="tls://",
        dashboard_address="127.0.0.1:0",
        silence_logs=logging.CRITICAL,
    ) as cluster:
        yield cluster
