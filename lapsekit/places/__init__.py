"""Where a site goes: a folder, a machine reached by rsync over SSH, or any remote of rclone.

All three replace a file by the whole new one. rsync and the folder write beside and rename; of the
remotes that rclone knows, `Rclone.caution` says which do not.
"""

import json
import re
import shlex
import shutil
import subprocess
import tempfile
from collections.abc import Collection, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from lapsekit import settings
from lapsekit.errors import PublishError, SettingsError, TransferError
from lapsekit.safely import PART, write_safely

CONNECT_S = 20
_COMPLAINT, _PIPES_S = 400, 5


class Place(Protocol):
    """Somewhere a site can go; a method that fails on the way raises `TransferError`."""

    caution: str

    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        ...

    def send(self, root: Path, names: Sequence[str]) -> None:
        """Put files of a folder there, under their names in it, each whole or not at all."""
        ...

    def present(self, names: Sequence[str]) -> list[str]:
        """Those of these files that are there."""
        ...

    def remove(self, names: Sequence[str]) -> None:
        """Delete files there; those that are gone already are no fault."""
        ...

    def tidy(self, names: Collection[str]) -> None:
        """Delete halves of these files that a publication which was cut off left beside them."""
        ...


def open_place(model: settings.PublishTable, season_folder: Path) -> Place:
    """The place that ``[publish]`` names.

    Raises
    ------
    SettingsError
        If it names none.
    PublishError
        If a program that is needed is not installed.
    """
    if model.to is None or model.target is None:
        raise SettingsError(
            f"{season_folder / 'season.toml'}: nothing says where to publish; under [publish] "
            'write both to = "folder", "rsync" or "rclone", and a target'
        )
    local = model.to == "folder" or (model.to == "rsync" and model.target.startswith("/"))
    if local:
        folder = (season_folder / Path(model.target).expanduser()).resolve()
        _require_outside(folder, season_folder)
        if model.to == "folder":
            return Folder(folder)
    if model.ssh_key and not Path(model.ssh_key).expanduser().is_file():
        raise SettingsError(f"publish.ssh_key {model.ssh_key}: no such file")
    program = {"rsync": "rsync", "rclone": "rclone"}[model.to]
    if shutil.which(program) is None:
        raise PublishError(f"{program} is not installed; apt-get install {program} brings it")
    return Rsync(model) if model.to == "rsync" else Rclone(model)


def _require_outside(target: Path, season_folder: Path) -> None:
    own = season_folder.resolve()
    if target == own or target in own.parents or own in target.parents:
        raise SettingsError(
            f"publish.target {target}: must not hold the season folder or lie in it"
        )
    if target.exists() and not target.is_dir():
        raise SettingsError(f"publish.target {target}: is a file; name a folder")


class Folder:
    """A folder of this machine, or one that is mounted."""

    caution = ""

    def __init__(self, target: Path):
        self._target = target

    def __str__(self) -> str:
        return str(self._target)

    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        try:
            return (self._target / name).read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            raise TransferError(f"{self._target / name}: {error.strerror}") from error

    def send(self, root: Path, names: Sequence[str]) -> None:
        """Copy files, each written beside and renamed."""
        for name in names:
            target = self._target / name
            try:
                target.parent.mkdir(parents=True, exist_ok=True)
                write_safely(target, (root / name).read_bytes())
            except OSError as error:
                raise TransferError(f"{target}: {error.strerror}") from error

    def present(self, names: Sequence[str]) -> list[str]:
        """Those of these files that are there."""
        return [name for name in names if (self._target / name).exists()]

    def remove(self, names: Sequence[str]) -> None:
        """Delete files."""
        for name in names:
            try:
                (self._target / name).unlink(missing_ok=True)
            except NotADirectoryError:
                continue
            except OSError as error:
                raise TransferError(f"{self._target / name}: {error.strerror}") from error

    def tidy(self, names: Collection[str]) -> None:
        """Delete what `write_safely` was about to rename."""
        for folder in {(self._target / name).parent for name in names}:
            for file in folder.glob(f"{PART}*"):
                own = _WRITTEN.fullmatch(file.name)
                name = (file.parent / own[1]).relative_to(self._target).as_posix() if own else ""
                if name in names and file.is_file():
                    file.unlink(missing_ok=True)


_WRITTEN = re.compile(re.escape(PART) + r"\d+-(.+)")


class _Programs:
    """Runs a program with a time limit."""

    def __init__(self, model: settings.PublishTable):
        self._model = model

    def __str__(self) -> str:
        return str(self._model.target)

    def _run(self, command: Sequence[str], given: bytes = b"") -> bytes:
        process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
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
        if process.returncode:
            told = complaint.decode(errors="replace").strip()[-_COMPLAINT:] or "no message"
            raise TransferError(f"{command[0]} to {self} failed ({process.returncode}): {told}")
        return out

    def _fetched(self, name: str, fetch) -> bytes | None:
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
            fetch(Path(scratch))
            file = Path(scratch, name)
            return file.read_bytes() if file.is_file() else None


class Rsync(_Programs):
    """A folder of a machine that is reached over SSH (``user@host:folder``), or a mounted one."""

    caution = ""

    def _rsync(self, source: str, target: str, *options: str, names: Sequence[str]) -> bytes:
        model = self._model
        ssh = ["ssh", "-o", "BatchMode=yes", "-o", f"ConnectTimeout={CONNECT_S}"]
        ssh += ["-o", "ServerAliveInterval=15", "-o", "ServerAliveCountMax=4"]
        ssh += ["-p", str(model.ssh_port)] if model.ssh_port else []
        ssh += ["-i", str(Path(model.ssh_key).expanduser())] if model.ssh_key else []
        command = ["rsync", "--from0", "--files-from=-", "--timeout=60", "-e", shlex.join(ssh)]
        command += [f"--bwlimit={model.bandwidth_kb_s}"] if model.bandwidth_kb_s else []
        listed = b"".join(name.encode() + b"\0" for name in names)
        return self._run([*command, *options, source, target], listed)

    @property
    def _folder(self) -> str:
        target = self._model.target
        return target if target.endswith(":") else target.rstrip("/") + "/"

    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        options = ("--ignore-missing-args",)
        try:
            return self._fetched(
                name,
                lambda scratch: self._rsync(self._folder, f"{scratch}/", *options, names=[name]),
            )
        except TransferError as error:
            if _NO_FOLDER.search(str(error)):  # nothing was ever published
                return None
            raise

    def send(self, root: Path, names: Sequence[str]) -> None:
        """Send files whose content is known to differ; rsync writes beside, then renames."""
        options = ("--times", "--ignore-times", "--perms", "--chmod=D755,F644", "--mkpath", _LINKS)
        self._rsync(f"{root}/", self._folder, *options, names=names)

    def present(self, names: Sequence[str]) -> list[str]:
        """Those of these files that are there."""
        options = ("--list-only", "--ignore-missing-args", "--no-motd")
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
            try:
                said = self._rsync(self._folder, f"{scratch}/", *options, names=names)
            except TransferError as error:
                if _NO_FOLDER.search(str(error)):
                    return []
                raise
        listed = {
            line.split(maxsplit=4)[-1] for line in said.decode().splitlines() if line[:1] == "-"
        }
        return [name for name in names if name in listed]

    def remove(self, names: Sequence[str]) -> None:
        """Delete files: rsync is told of names that a folder without files lacks."""
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as empty:
            for name in names:
                Path(empty, name).parent.mkdir(parents=True, exist_ok=True)
            self._rsync(f"{empty}/", self._folder, "--delete-missing-args", _LINKS, names=names)

    def tidy(self, names: Collection[str]) -> None:
        """Nothing: rsync on the far side takes its own halves away when the line breaks."""


_LINKS = "--keep-dirlinks"  # a folder there may be a link to another disk
_NO_FOLDER = re.compile(r"change_dir .* failed: No such file or directory")
_HALF = re.compile(r"(.+)\.[0-9a-f]{8}\.partial")


class Rclone(_Programs):
    """A remote of rclone's own configuration: SFTP, FTPS, WebDAV, S3 and others."""

    def __init__(self, model: settings.PublishTable):
        super().__init__(model)
        try:
            found = json.loads(self._run(self._command("backend", "features", model.target)))
            features = found.get("Features", {})
        except (ValueError, AttributeError) as error:
            raise PublishError(
                f"rclone does not tell what {model.target} is like; a version from 1.60 does"
            ) from error
        whole = features.get("PartialUploads") or features.get("BucketBased")
        self.caution = "" if whole else (
            "this kind of remote replaces a file in place: whoever reads a page while it is sent "
            "may get half of it"
        )  # fmt: skip

    def _command(self, *words: str) -> list[str]:
        model = self._model
        config = (
            ["--config", str(Path(model.rclone_config).expanduser())] if model.rclone_config else []
        )
        limit = ["--bwlimit", f"{model.bandwidth_kb_s}k"] if model.bandwidth_kb_s else []
        waits = ["--contimeout", f"{CONNECT_S}s", "--timeout", "60s", "--retries", "1"]
        return ["rclone", *config, *limit, *waits, *words]

    def _listed(self, names: Sequence[str], *words: str) -> bytes:
        with tempfile.NamedTemporaryFile(prefix="lapsekit-", suffix=".txt") as file:
            file.write("".join(f"{name}\n" for name in names).encode())
            file.flush()
            return self._run(self._command(*words, "--files-from-raw", file.name, "--no-traverse"))

    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        return self._fetched(
            name, lambda scratch: self._listed([name], "copy", self._model.target, str(scratch))
        )

    def send(self, root: Path, names: Sequence[str]) -> None:
        """Send files whose content is known to differ; rclone compares hashes afterwards."""
        self._listed(names, "copy", str(root), self._model.target, "--ignore-times")

    def present(self, names: Sequence[str]) -> list[str]:
        """Those of these files that are there."""
        try:
            said = self._listed(names, "lsf", "-R", "--files-only", self._model.target)
        except TransferError as error:
            if "directory not found" in str(error):
                return []
            raise
        return sorted(set(said.decode().splitlines()) & set(names))

    def remove(self, names: Sequence[str]) -> None:
        """Delete files."""
        self._listed(names, "delete", self._model.target)

    def tidy(self, names: Collection[str]) -> None:
        """Delete ``NAME.xxxxxxxx.partial`` of these names."""
        deep = ["-R"] if any("/" in name for name in names) else []
        words = ["lsf", *deep, "--files-only", "--include", "*.partial", self._model.target]
        try:
            listed = self._run(self._command(*words)).decode().splitlines()
        except TransferError as error:
            if "directory not found" in str(error):  # nothing was ever published
                return
            raise
        found = [(line, _HALF.fullmatch(line)) for line in listed]
        halves = [line for line, half in found if half and half[1] in names]
        if halves:
            self.remove(halves)
