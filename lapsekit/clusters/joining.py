"""Dask: a cluster joined, or made of this machine's processes, and work spread over it.

A Dask scheduler runs whatever it is sent by whoever reaches it. Between machines it is spoken to
over TLS, with certificates on both sides; what is made here of this machine's processes is, too.
"""

import logging
import pickle
import queue
import time
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import urlsplit

from lapsekit.errors import ClusterError, LapsekitError, MissingExtra, SettingsError

Told = TypeVar("Told")
Item = TypeVar("Item")
Result = TypeVar("Result")

HERE = "local"
_REACH_S, _FIRST_WORKER_S, _NO_WORKER_S = 15, 60, 120
_LOOK_S = 5.0
_NEAR = {"localhost", "127.0.0.1", "::1"}


@dataclass(frozen=True)
class Certificates:
    """PEM files: the authority that signed the cluster's certificates, our own, and its key."""

    authority: Path
    own: Path
    key: Path


@dataclass(frozen=True)
class _Sealed:
    """Bytes that stand in no log of a worker."""

    content: bytes

    def __repr__(self) -> str:
        return "<job>"


@contextmanager
def joined(
    address: str, processes: int | None = None, certificates: Certificates | None = None
) -> Iterator["Machines"]:
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
            yield Machines(client, address)
        return
    try:
        client = dask.Client(address, security=_security(dask, certificates), timeout=_REACH_S)
    except (OSError, TimeoutError, ValueError) as error:
        raise ClusterError(
            f"{address}: no Dask scheduler answers there ({_first_line(error)}); check that it "
            "runs, its port, and that both sides use TLS with certificates of the same authority, "
            "or neither does"
        ) from error
    try:
        yield Machines(client, address)
    finally:
        client.close()


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


class Machines:
    """A cluster that work is spread over.

    Attributes
    ----------
    address : str
    dashboard : str
        Where it can be watched.
    is_private : bool
        Whether nobody on the way can read what it is sent.
    """

    def __init__(self, client: Any, address: str):
        self._client = client
        self.address = address
        self.dashboard: str = client.dashboard_link
        host = "localhost" if address == HERE else urlsplit(address).hostname
        self.is_private = not address.startswith("tcp:") or host in _NEAR
        self.tasks = 0
        self._counted = (0.0, 0)
        try:
            client.wait_for_workers(1, timeout=_FIRST_WORKER_S)
        except (OSError, TimeoutError) as error:
            raise ClusterError(
                f"{address}: no worker has joined in {_FIRST_WORKER_S} s; start some with dask "
                "worker, where lapsekit is installed"
            ) from error

    def threads(self) -> int:
        """How many tasks its workers do at once, as of a moment ago."""
        asked_at, found = self._counted
        if time.monotonic() - asked_at > _LOOK_S or not found:
            found = sum(self._client.nthreads().values())
            self._counted = time.monotonic(), found
        return found

    def workers(self) -> list[str]:
        """Addresses of its workers."""
        return sorted(self._client.nthreads())

    def ask(self, function: Callable[..., str | None], *told: object) -> None:
        """Ask every worker whether it can do the work.

        Raises
        ------
        ClusterError
            Names each that cannot, with what it said.
        """
        answers = self._client.run(function, *told, on_error="return")
        wrong = {worker: said for worker, said in sorted(answers.items()) if said is not None}
        if wrong:
            lines = [f"worker {worker} {_complaint(said)}" for worker, said in wrong.items()]
            raise ClusterError("\n".join(lines[:10]))

    def spread(
        self,
        function: Callable[[Told, Item], Result],
        told: Told,
        items: Iterable[Item],
    ) -> Iterator[tuple[Item, Result]]:
        """Results of ``function(told, item)`` for each item, as they come in.

        At most two items for each thread of the workers, and four more, are under way, so that
        neither scheduler nor caller holds more, however many there are. What is lost with a worker
        is done again by another.

        Parameters
        ----------
        function : callable
            Found by its name on every worker; what it gives must rest on its arguments alone.
        told : object
            The same for all; each worker fetches it once.
        items : iterable
            Read as far as they are sent.

        Yields
        ------
        (item, result)

        Raises
        ------
        ClusterError
            If a worker refuses, items kill one worker after the other, or none is left.
        """
        run = uuid.uuid4().hex[:12]
        sealed = _Sealed(pickle.dumps(told))
        shared = self._client.submit(_unsealed, sealed, key=f"job-{run}")
        under_way: dict[Any, Item] = {}
        arrived: queue.SimpleQueue = queue.SimpleQueue()
        items = enumerate(items)
        try:
            while True:
                while len(under_way) < 2 * self.threads() + 4 and (each := next(items, None)):
                    number, item = each
                    key = f"{function.__name__}-{run}-{number}"
                    future = self._client.submit(_run, function, shared, item, key=key)
                    under_way[future] = item
                    self.tasks += 1
                    future.add_done_callback(arrived.put)
                if not under_way:
                    return
                future = self._next(arrived)
                item = under_way.pop(future)
                yield item, self._result(future, item)
        finally:
            if under_way and self._client.status == "running":
                self._client.cancel(list(under_way))

    def _next(self, arrived: queue.SimpleQueue) -> Any:
        """The next one that is done; raises ClusterError when nobody is left to do any."""
        alone_since = None
        while True:
            try:
                return arrived.get(timeout=_LOOK_S)
            except queue.Empty:
                if self._has_workers():
                    alone_since = None
                    continue
                alone_since = alone_since or time.monotonic()
                if time.monotonic() - alone_since > _NO_WORKER_S:
                    raise ClusterError(
                        f"{self.address}: no worker is left since {_NO_WORKER_S} s; {_KEPT}"
                    ) from None

    def _has_workers(self) -> bool:
        try:
            return self._client.status == "running" and bool(self._client.nthreads())
        except (OSError, TimeoutError):
            return False

    def _result(self, future: Any, item: object) -> Any:
        import distributed

        try:
            return future.result()
        except LapsekitError:
            raise
        except distributed.scheduler.KilledWorker as error:
            last = getattr(error.last_worker, "address", "unknown")
            raise ClusterError(
                f"{item}: {error.allowed_failures + 1} workers died one after the other while "
                f"they worked on them, last {last}; give workers more memory (dask worker "
                f"--memory-limit), or look into their logs. {_KEPT.capitalize()}"
            ) from error
        except (distributed.client.FutureCancelledError, OSError, TimeoutError) as error:
            raise ClusterError(f"{self.address}: the scheduler is gone; {_KEPT}") from error
        except (ImportError, AttributeError, RuntimeError) as error:
            raise ClusterError(
                f"a worker cannot run lapsekit ({type(error).__name__}: {_first_line(error)}); "
                "install the same lapsekit, with the extra [cluster], on every worker"
            ) from error


_KEPT = "days that were finished are kept; run the same command again to go on"


def _complaint(said: object) -> str:
    if isinstance(said, ImportError | AttributeError):
        return (
            f"has not the lapsekit that is here ({_first_line(said)}); install the same one there, "
            "with the extra [cluster]"
        )
    return str(said)


def _first_line(error: object) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]


def _unsealed(sealed: _Sealed) -> Any:
    """A job, on a worker."""
    return pickle.loads(sealed.content)


def _run(function: Callable[[Told, Item], Result], told: Told, item: Item) -> Result:
    """A task, on a worker: what it refuses names the worker."""
    try:
        return function(told, item)
    except LapsekitError as error:
        from distributed import get_worker

        raise ClusterError(f"worker {get_worker().address}: {error}") from None
