"""A folder of a machine that is reached by rsync over SSH."""

import re
import shlex
import tempfile
from collections.abc import Collection, Sequence
from pathlib import Path

from lapsekit.errors import TransferError
from lapsekit.places.programs import CONNECT_S, Programs

_LINKS = "--keep-dirlinks"  # a folder there may be a link to another disk
_NO_FOLDER = re.compile(r"change_dir .* failed: No such file or directory")
_LIST_FIELDS = 4


class Rsync(Programs):
    """A folder of a machine that is reached over SSH (``user@host:folder``), or a mounted one."""

    caution = ""

    def _rsync(self, source: str, target: str, *options: str, names: Sequence[str] | None) -> bytes:
        model = self._model
        ssh = ["ssh", "-o", "BatchMode=yes", "-o", f"ConnectTimeout={CONNECT_S}"]
        ssh += ["-o", "ServerAliveInterval=15", "-o", "ServerAliveCountMax=4"]
        ssh += ["-p", str(model.ssh_port)] if model.ssh_port else []
        ssh += ["-i", str(Path(model.ssh_key).expanduser())] if model.ssh_key else []
        command = ["rsync", "--timeout=60", "-e", shlex.join(ssh)]
        command += ["--from0", "--files-from=-"] if names is not None else []
        command += [f"--bwlimit={model.bandwidth_kb_s}"] if model.bandwidth_kb_s else []
        listed = b"".join(name.encode() + b"\0" for name in names or ())
        return self._run([*command, *options, source, target], listed)

    @property
    def _folder(self) -> str:
        target = self._model.target
        return target if target.endswith(":") else target.rstrip("/") + "/"

    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        return self._fetched(name, lambda scratch: self.fetch([name], scratch))

    def send(self, root: Path, names: Sequence[str]) -> None:
        """Send files whose content is known to differ; rsync writes beside, then renames."""
        modes = "--chmod=D700,F600" if self._model.private else "--chmod=D755,F644"
        options = ("--times", "--ignore-times", "--perms", modes, "--mkpath", _LINKS, "-L")
        self._rsync(f"{root}/", self._folder, *options, names=names)

    def fetch(self, names: Sequence[str], into: Path) -> None:
        """Bring files back; those that are gone stay away."""
        try:
            self._rsync(self._folder, f"{into}/", "--ignore-missing-args", names=names)
        except TransferError as error:
            if not _NO_FOLDER.search(str(error)):  # nothing was ever sent
                raise

    def sizes(self, names: Sequence[str]) -> dict[str, int | None]:
        """Bytes of those of these files that are there, which rsync lists on one connection."""
        listed = self._list("--ignore-missing-args", names=names)
        return {name: listed[name] for name in names if name in listed}

    def differing(self, root: Path, names: Sequence[str]) -> list[str]:
        """Those of a folder's files whose checksum there is another, or that are not there."""
        options = ("--checksum", "--dry-run", "--8-bit-output", "--out-format=%i %n", "--mkpath")
        said = self._rsync(f"{root}/", self._folder, *options, _LINKS, "-L", names=names).decode()
        told = {line.split(maxsplit=1)[-1] for line in said.splitlines() if line[1:2] == "f"}
        if told - set(names):  # a name that rsync writes in another way
            return list(names)
        return [name for name in names if name in told]

    def listed(self, folder: str) -> list[str]:
        """All files in a folder there and in those inside."""
        return sorted(self._list("--ignore-missing-args", "-r", names=[folder]))

    def top(self) -> list[str]:
        """What lies at the top there."""
        return [name for name in self._list("--dirs", names=None, kinds="-dl") if name != "."]

    def _list(self, *options: str, names: Sequence[str] | None, kinds: str = "-") -> dict[str, int]:
        """Sizes of what rsync lists, by name."""
        options = ("--list-only", "--no-motd", "--8-bit-output", *options)
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
            try:
                said = self._rsync(self._folder, f"{scratch}/", *options, names=names)
            except TransferError as error:
                if _NO_FOLDER.search(str(error)):
                    return {}
                raise
        lines = said.decode(errors="surrogateescape").splitlines()
        fields = [line.split(maxsplit=_LIST_FIELDS) for line in lines if line[:1] in kinds]
        return {field[-1]: int(re.sub(r"\D", "", field[1])) for field in fields}

    def remove(self, names: Sequence[str]) -> None:
        """Delete files: rsync is told of names that a folder without files lacks."""
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as empty:
            for name in names:
                Path(empty, name).parent.mkdir(parents=True, exist_ok=True)
            self._rsync(f"{empty}/", self._folder, "--delete-missing-args", _LINKS, names=names)

    def tidy(self, names: Collection[str]) -> None:
        """Nothing: rsync on the far side takes its own halves away when the line breaks."""
