"""Programs that carry files, run with a time limit."""

import os
import re
import subprocess
import tempfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from lapsekit import settings
from lapsekit.errors import TransferError

CONNECT_S = 20
_COMPLAINT, _PIPES_S = 400, 5


class Programs:
    """Runs a program with a time limit.

    Parameters
    ----------
    model : settings.FarTable
        Where files go, and what limits hold.
    """

    def __init__(self, model: settings.FarTable):
        self._model = model
        self._environment: Mapping[str, str] = {}
        self._unsaid: tuple[str, ...] = ()

    def __str__(self) -> str:
        return str(self._model.target)

    def _ran(self, command: Sequence[str], given: bytes = b"") -> tuple[int, bytes, str]:
        """Code, output and complaint of a command, secrets taken out of the latter."""
        process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=os.environ | self._environment,
        )
        try:
            out, complaint = process.communicate(given, timeout=self._model.time_limit_s)
        except subprocess.TimeoutExpired as error:
            raise TransferError(
                f"{command[0]} to {self} did not end within {self._model.time_limit_s:g} s"
            ) from error
        finally:
            if process.poll() is None:
                process.kill()
                with suppress(subprocess.TimeoutExpired):  # what it started may hold the pipes
                    process.communicate(timeout=_PIPES_S)
        told = complaint.decode(errors="replace").strip()
        for secret in self._unsaid:
            told = told.replace(secret, "…")
        return process.returncode, out, told

    def _run(
        self, command: Sequence[str], given: bytes = b"", harmless: re.Pattern | None = None
    ) -> bytes:
        """Output of a command that must go well, or complain of nothing but what is `harmless`."""
        code, out, told = self._ran(command, given)
        if code and not (harmless and harmless.search(told)):
            raise self._failed(command, code, told)
        return out

    def _failed(self, command: Sequence[str], code: int, told: str) -> TransferError:
        told = told[-_COMPLAINT:] or "no message"
        return TransferError(f"{command[0]} to {self} failed ({code}): {told}")

    def _fetched(self, name: str, fetch: Callable[[Path], object]) -> bytes | None:
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
            fetch(Path(scratch))
            file = Path(scratch, name)
            return file.read_bytes() if file.is_file() else None
