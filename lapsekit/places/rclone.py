"""Any remote of rclone's, and its encryption over one."""

import json
import re
import tempfile
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from lapsekit import settings
from lapsekit.errors import CopyError, PublishError
from lapsekit.places.programs import CONNECT_S, Programs

SEALED = "sealed"
"""What the encrypting remote is called, which lives in the environment of rclone alone."""

_HALF = re.compile(r"(.+)\.[0-9a-f]{8}\.partial")
_NO_FOLDER = re.compile(r"directory not found")
_DAMAGED = re.compile(r"failed to authenticate decrypted block|corrupted on transfer|bad magic")
_FOUND_TO_DIFFER = re.compile(
    r": file not in .+|\bdiffer\b|object not found|failed to authenticate decrypted block|bad magic"
)
_NOT_CHECKED = re.compile(r"\b[1-9]\d* hash(es)? could not be checked")
_MARKS = frozenset("=*+!")
_FEW = 200


class Rclone(Programs):
    """A remote of rclone's own configuration: SFTP, FTPS, WebDAV, S3 and others.

    Parameters
    ----------
    model : settings.FarTable
    password : str, optional
        Encrypts names and content.
    """

    def __init__(self, model: settings.FarTable, password: str | None = None):
        super().__init__(model)
        self._base = model.target
        facts = self._facts()
        features = facts.get("Features", {})
        self._hashes = bool(facts.get("Hashes"))
        whole = features.get("PartialUploads") or features.get("BucketBased")
        self.caution = "" if whole else (
            "this kind of remote replaces a file in place: whoever reads a page while it is sent "
            "may get half of it"
        )  # fmt: skip
        if password is not None:
            self._seal(password)

    def __str__(self) -> str:
        return str(self._model.target) + (" (encrypted)" if self._is_sealed else "")

    @property
    def _is_sealed(self) -> bool:
        return bool(self._environment)

    def _facts(self) -> Mapping:
        try:
            facts = json.loads(self._run(self._command("backend", "features", self._base)))
            return facts if isinstance(facts.get("Features", {}), dict) else {}
        except (ValueError, AttributeError) as error:
            kind = CopyError if self._model.table == "copies" else PublishError
            raise kind(
                f"rclone does not tell what {self._base} is like; a version from 1.60 does"
            ) from error

    def _seal(self, password: str) -> None:
        """Encrypt from now on; the password goes by a pipe and the child's environment alone."""
        self._unsaid = (password,)
        obscured = self._run(["rclone", "obscure", "-"], password.encode()).decode().strip()
        self._unsaid = (password, obscured)
        own = f"RCLONE_CONFIG_{SEALED.upper()}_"
        self._environment = {
            f"{own}TYPE": "crypt",
            f"{own}REMOTE": self._base,
            f"{own}PASSWORD": obscured,
        }
        self._base = f"{SEALED}:"

    def _command(self, *words: str) -> list[str]:
        model = self._model
        config = (
            ["--config", str(Path(model.rclone_config).expanduser())] if model.rclone_config else []
        )
        limit = ["--bwlimit", f"{model.bandwidth_kb_s}k"] if model.bandwidth_kb_s else []
        waits = ["--contimeout", f"{CONNECT_S}s", "--timeout", "60s", "--retries", "1"]
        waits += ["--low-level-retries", "3"]
        return ["rclone", *config, *limit, *waits, *words]

    def _named(self, file: object, names: Sequence[str], traverse: bool = False) -> list[str]:
        file.write("".join(f"{name}\n" for name in names).encode())
        file.flush()
        return ["--files-from-raw", file.name, *([] if traverse else ["--no-traverse"])]

    def _listed(
        self,
        names: Sequence[str],
        *words: str,
        harmless: re.Pattern | None = None,
        traverse: bool = False,
    ) -> bytes:
        with tempfile.NamedTemporaryFile(prefix="lapsekit-", suffix=".txt") as file:
            command = self._command(*words, *self._named(file, names, traverse))
            return self._run(command, harmless=harmless)

    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        return self._fetched(
            name, lambda scratch: self._listed([name], "copy", self._base, str(scratch))
        )

    def send(self, root: Path, names: Sequence[str]) -> None:
        """Send files whose content is known to differ; rclone compares hashes afterwards."""
        self._listed(names, "copy", str(root), self._base, "--ignore-times")

    def fetch(self, names: Sequence[str], into: Path) -> None:
        """Bring files back; those that are gone, or known to be damaged, stay away."""
        self._listed(names, "copy", self._base, str(into), harmless=_DAMAGED)

    def sizes(self, names: Sequence[str]) -> dict[str, int | None]:
        """Bytes of those of these files that are there.

        A few are asked for one by one; for many, the lists of their folders are cheaper.
        """
        words = ("lsf", "-R", "--files-only", "--format", "sp", "--separator", "/", self._base)
        is_few = len(names) <= _FEW
        said = self._listed(names, *words, harmless=_NO_FOLDER, traverse=not is_few).decode()
        listed = (line.split("/", 1) for line in said.splitlines())
        there = {name: int(size) if size.isdecimal() else None for size, name in listed}
        return {name: there[name] for name in names if name in there}

    def differing(self, root: Path, names: Sequence[str]) -> list[str]:
        """Those of a folder's files whose hash there is another, or that are not there.

        Where the far side knows no hash of one, the files come back to be compared: rclone itself
        would take such a file for equal.
        """
        how = ["cryptcheck"] if self._is_sealed else ["check"]
        if self._hashes:
            marks, told = self._compared(root, names, *how)
        if not self._hashes or _NOT_CHECKED.search(told):
            marks, _ = self._compared(root, names, "check", "--download")
        return [name for name in names if marks[name] != "="]

    def _compared(self, root: Path, names: Sequence[str], *how: str) -> tuple[dict[str, str], str]:
        """What rclone says of each file (``=`` for equal), and its words beside."""
        with tempfile.NamedTemporaryFile(prefix="lapsekit-", suffix=".txt") as file:
            words = (*how, str(root), self._base, "--one-way", "--combined", "-")
            command = self._command(*words, *self._named(file, names))
            code, out, told = self._ran(command)
        marks = {line[2:]: line[:1] for line in out.decode().splitlines()}
        complaints = [line for line in told.splitlines() if " ERROR : " in line]
        foreseen = all(_FOUND_TO_DIFFER.search(line) for line in complaints)
        if not foreseen or not all(marks.get(name) in _MARKS for name in names):
            raise self._failed(command, code, told)
        return marks, told

    def listed(self, folder: str) -> list[str]:
        """All files in a folder there and in those inside."""
        base = self._base if self._base.endswith(":") else self._base.rstrip("/") + "/"
        words = ("lsf", "-R", "--files-only", f"{base}{folder}")
        said = self._run(self._command(*words), harmless=_NO_FOLDER).decode()
        names = (line for line in said.splitlines() if not line.endswith(".partial"))
        return sorted(f"{folder}/{name}" for name in names)

    def top(self) -> list[str]:
        """What lies at the top there, encrypted as it is."""
        words = ("lsf", str(self._model.target))
        said = self._run(self._command(*words), harmless=_NO_FOLDER).decode()
        return [line for line in said.splitlines() if not line.endswith(".partial")]

    def remove(self, names: Sequence[str]) -> None:
        """Delete files."""
        self._listed(names, "delete", self._base)

    def tidy(self, names: Collection[str]) -> None:
        """Delete ``NAME.xxxxxxxx.partial`` of these names."""
        deep = ["-R"] if any("/" in name for name in names) else []
        words = ["lsf", *deep, "--files-only", "--include", "*.partial", self._base]
        listed = self._run(self._command(*words), harmless=_NO_FOLDER).decode().splitlines()
        found = [(line, _HALF.fullmatch(line)) for line in listed]
        halves = [line for line, half in found if half and half[1] in names]
        if halves:
            self.remove(halves)
