"""Work spread over the workers of a Dask cluster, whatever becomes of single ones."""

import pickle
import queue
import time
import uuid
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from lapsekit.errors import ClusterError, ClusterGone, LapsekitError

Told = TypeVar("Told")
Item = TypeVar("Item")
Result = TypeVar("Result")

FIRST_WORKER_S, NO_WORKER_S = 60, 120
"""How long the first worker is waited for, and how long it may take until one is there again."""

LOOK_S = 5.0
_KEPT = "days that were finished are kept; run the same command again to go on"


@dataclass(frozen=True)
class _Sealed:
    """What only a worker opens: it stands in no log, and the scheduler loads nothing for it."""

    content: bytes

    def __repr__(self) -> str:
        return "<job>"


class Machines:
    """A cluster that work is spread over.

    Attributes
    ----------
    address : str
    dashboard : str
        Where it can be watched.
    is_private : bool
        Whether nobody on the way can read what it is sent.
    tasks : int
        How many it was given.
    """

    def __init__(self, client: Any, address: str, is_private: bool):
        self._client = client
        self.address, self.is_private = address, is_private
        self.dashboard: str = client.dashboard_link
        self.tasks = 0
        self._counted = (0.0, 0)
        try:
            client.wait_for_workers(1, timeout=FIRST_WORKER_S)
        except (OSError, TimeoutError) as error:
            raise ClusterError(
                f"{address}: no worker has joined in {FIRST_WORKER_S} s; start some with dask "
                "worker, where lapsekit is installed"
            ) from error

    def threads(self) -> int:
        """How many tasks its workers do at once, as of a moment ago."""
        asked_at, found = self._counted
        if time.monotonic() - asked_at > LOOK_S or not found:
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
                    work = _Sealed(pickle.dumps((function, item)))
                    future = self._client.submit(_run, shared, work, key=key)
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
                return arrived.get(timeout=LOOK_S)
            except queue.Empty:
                if self._has_workers():
                    alone_since = None
                    continue
                alone_since = alone_since or time.monotonic()
                if time.monotonic() - alone_since > NO_WORKER_S:
                    raise ClusterGone(
                        f"{self.address}: no worker is left since {NO_WORKER_S} s; {_KEPT}"
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
            raise ClusterGone(f"{self.address}: the scheduler is gone; {_KEPT}") from error
        except (ImportError, RuntimeError) as error:
            if isinstance(error, RuntimeError) and "deserializ" not in str(error):
                raise
            raise ClusterGone(
                f"{self.address}: scheduler or workers cannot load lapsekit "
                f"({first_line(error)}); install the same lapsekit, with the extra [cluster], on "
                "all of them"
            ) from error


def _complaint(said: object) -> str:
    if isinstance(said, ImportError | AttributeError):
        return (
            f"has not the lapsekit that is here ({first_line(said)}); install the same one there, "
            "with the extra [cluster]"
        )
    return str(said) if isinstance(said, str) else f"failed: {type(said).__name__}: {said}"


def first_line(error: object) -> str:
    """What an error says, without what Dask writes below it."""
    return (str(error).splitlines() or [type(error).__name__])[0]


def _unsealed(sealed: _Sealed) -> Any:
    """A job, on a worker."""
    return pickle.loads(sealed.content)


def _run(told: Any, work: _Sealed) -> Any:
    """A task, on a worker: what it refuses names the worker."""
    function, item = pickle.loads(work.content)
    try:
        return function(told, item)
    except LapsekitError as error:
        from distributed import get_worker

        raise ClusterError(f"worker {get_worker().address}: {error}") from None
