"""What a power cut leaves of a capture, at every system call of it.

    python -m tests.bench.power_loss

A capture runs under ``strace``; each file call is recorded with its data. For every prefix of the
calls the disk is made up as a power cut could leave it, in four ways: only what was synced is
there; all names are there, but of their content only what was synced; everything is there; names
and blocks that were not synced are there by chance. On each a season is opened, and compared.
"""

import argparse
import random
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.errors import PictureError
from lapsekit.frames.archive import content_hash
from lapsekit.frames.inspection import inspect
from lapsekit.frames.names import read_name
from lapsekit.season import Season
from tests.scenes import SETTINGS, bench_picture, encoded, make_season

NEEDS = "strace"

CALLS = "openat,creat,write,pwrite64,ftruncate,fsync,fdatasync,link,linkat,rename,renameat,unlink"
CALLS += ",unlinkat,mkdir,mkdirat,close,lseek,rmdir"
WAYS = ("only what was synced", "names, and what was synced of them", "everything", "by chance")
CHILD = """
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from lapsekit.cameras import Shot
from lapsekit.season import Season
from lapsekit.unattended.capturing import capture
class Camera:
    def take(self, now):
        return Shot(Path(sys.argv[2]).read_bytes() + str(now).encode(), now)
now = datetime(2031, 4, 2, 12, tzinfo=UTC)
season = Season(Path(sys.argv[1]), lambda: now)
for _ in range(3):
    frame = capture(season, "bench", Camera()).frame
    sys.stdout.write(f"stored {frame.path} {frame.sha256}\\n")
    sys.stdout.flush()
    now += timedelta(hours=6)
season.catalogue.close()
"""


@dataclass
class File:
    """A file's content as programs see it, and as the disk holds it."""

    now: bytearray = field(default_factory=bytearray)
    synced: bytes = b""
    unsynced: list[tuple[int, bytes]] = field(default_factory=list)

    def write(self, at: int, data: bytes) -> None:
        """Put data there."""
        self.now.extend(b"\0" * (at + len(data) - len(self.now)))
        self.now[at : at + len(data)] = data
        self.unsynced.append((at, data))

    def sync(self) -> None:
        """Bring it to the disk."""
        self.synced, self.unsynced = bytes(self.now), []

    def by_chance(self, chance: random.Random) -> bytes:
        """What was synced, and each later write with one chance in two."""
        content = bytearray(self.synced)
        for at, data in self.unsynced:
            if chance.random() < 0.5:
                content.extend(b"\0" * (at + len(data) - len(content)))
                content[at : at + len(data)] = data
        return bytes(content)


class Disk:
    """Names and files below a folder, as calls change them; directories hold None."""

    def __init__(self, root: str):
        self.root = root
        self.names: dict[str, File | None] = {}
        self.synced: dict[str, File | None] = {}
        self.open: dict[int, tuple[str, File | None]] = {}
        self.at: dict[int, int] = {}

    def begin(self) -> None:
        """What lies there already is on the disk."""
        for path in sorted(Path(self.root).rglob("*")):
            file = None if path.is_dir() else File(bytearray(path.read_bytes()))
            if file is not None:
                file.sync()
            self.names[str(path)] = file
        self.synced = dict(self.names)

    def take(self, call: str, words: list, result: int) -> None:
        """Carry out one call that succeeded."""
        getattr(self, f"_{call}", lambda *_: None)(words, result)

    def left(self, way: int, chance: random.Random) -> dict[str, bytes | None]:
        """What a power cut now leaves."""
        names = self.synced if way == 0 else self.names
        if way == 3:
            names = {
                n: f for n, f in self.names.items() if n in self.synced or chance.random() < 0.5
            }
        content = {0: lambda f: f.synced, 1: lambda f: f.synced, 2: lambda f: bytes(f.now),
                   3: lambda f: f.by_chance(chance)}[way]  # fmt: skip
        return {n: None if f is None else content(f) for n, f in names.items()}

    def _inside(self, path: str) -> bool:
        return path.startswith(self.root)

    def _openat(self, words: list, result: int) -> None:
        _, path, flags = words[:3]
        if not self._inside(path):
            return
        if path not in self.names and "O_CREAT" in flags:
            self.names[path] = File()
        file = self.names.get(path)
        if "O_TRUNC" in flags and file is not None:
            file.now.clear()
        self.open[result] = (path, file)
        self.at[result] = len(file.now) if file is not None and "O_APPEND" in flags else 0

    def _write(self, words: list, result: int) -> None:
        number, data = words[:2]
        if number in self.open:
            self.open[number][1].write(self.at[number], data[:result])
            self.at[number] += result

    def _pwrite64(self, words: list, result: int) -> None:
        number, data, _, at = words[:4]
        if number in self.open:
            self.open[number][1].write(at, data[:result])

    def _ftruncate(self, words: list, _: int) -> None:
        number, size = words[:2]
        if number in self.open:
            file = self.open[number][1]
            del file.now[size:]
            file.now.extend(b"\0" * (size - len(file.now)))

    def _lseek(self, words: list, result: int) -> None:
        self.at[words[0]] = result

    def _fsync(self, words: list, _: int) -> None:
        if words[0] not in self.open:
            return
        path, file = self.open[words[0]]
        if file is not None:
            file.sync()
            return
        beside = [n for n in {*self.names, *self.synced} if str(Path(n).parent) == path]
        for name in beside:
            if name in self.names:
                self.synced[name] = self.names[name]
            else:
                self.synced.pop(name, None)

    _fdatasync = _fsync

    def _close(self, words: list, _: int) -> None:
        self.open.pop(words[0], None)

    def _link(self, words: list, _: int) -> None:
        paths = [w for w in words if isinstance(w, str) and w.startswith("/")]
        if self._inside(paths[1]):
            self.names[paths[1]] = self.names[paths[0]]

    _linkat = _link

    def _rename(self, words: list, _: int) -> None:
        paths = [w for w in words if isinstance(w, str) and w.startswith("/")]
        if self._inside(paths[1]):
            self.names[paths[1]] = self.names.pop(paths[0])

    _renameat = _rename

    def _unlink(self, words: list, _: int) -> None:
        (path,) = [w for w in words if isinstance(w, str) and w.startswith("/")]
        self.names.pop(path, None)

    _unlinkat = _rmdir = _unlink

    def _mkdir(self, words: list, _: int) -> None:
        (path,) = [w for w in words if isinstance(w, str) and w.startswith("/")]
        if self._inside(path):
            self.names[path] = None

    _mkdirat = _mkdir


_LINE = re.compile(r"(?P<call>\w+)\((?P<words>.*)\)\s+= (?P<result>-?\d+)")
_WORD = re.compile(r'\s*(?:"((?:\\x[0-9a-f]{2})*)"(?:\.\.\.)?|([^,]+))')


def parsed(line: str) -> tuple[str, list, int] | None:
    """One line of strace; None for what failed or is no call."""
    found = _LINE.match(line)
    if found is None or int(found["result"]) < 0:
        return None
    words: list = []
    for text, word in _WORD.findall(found["words"]):
        if word and word.strip().lstrip("-").isdigit():
            words.append(int(word))
        elif word:
            words.append(word.strip())
        else:
            data = bytes.fromhex(text.replace("\\x", ""))
            words.append(data if found["call"] in ("write", "pwrite64") else data.decode())
    return found["call"], words, int(found["result"])


def record(folder: Path, scratch: Path, prelude: str = "") -> list[str]:
    """Three captures of a season, as lines of strace; `prelude` is run before."""
    picture, log = scratch / "picture.jpg", scratch / "calls.txt"
    picture.write_bytes(encoded(bench_picture([], size=(64, 48)), "JPEG"))
    command = ["strace", "-o", log, "-xx", "-s", "10000000", "-e", f"trace={CALLS}"]
    command += [sys.executable, "-c", prelude + CHILD, folder, picture]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return log.read_text().splitlines()


@dataclass
class Found:
    """How many states were looked at, and what was wrong in them."""

    states: int = 0
    lost: list[str] = field(default_factory=list)
    half: list[str] = field(default_factory=list)
    disagree: list[str] = field(default_factory=list)


def look(folder: Path, stored: dict[str, str], where: str, found: Found) -> None:
    """Judge one state of the disk."""
    found.states += 1
    for path, sha256 in stored.items():
        file = folder / path
        if not file.is_file() or content_hash(file.read_bytes()) != sha256:
            found.lost.append(f"{where}: {path}")
    for file in (folder / "frames").rglob("*"):
        if file.is_file() and read_name(file.name):
            try:
                inspect(file.read_bytes())
            except PictureError:
                found.half.append(f"{where}: {file.name}")
    season = Season(folder)
    season.mend_catalogue()
    season.index()
    known = {frame.path for frame in season.catalogue.frames()}
    there = {file.path for file in season.archive.files()}
    season.catalogue.close()
    if known != there:
        found.disagree.append(where)


def replay(seed: int = 1, prelude: str = "") -> Found:
    """Every state of every prefix."""
    found, chance = Found(), random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as name:
        scratch = Path(name)
        folder = scratch / "season"
        make_season(folder, SETTINGS).catalogue.close()
        disk = Disk(str(folder))
        disk.begin()
        stored: dict[str, str] = {}
        seen: set[int] = set()
        for number, line in enumerate(record(folder, scratch, prelude)):
            call = parsed(line)
            if call is None:
                continue
            name, words, result = call
            if name == "write" and words[0] == 1:
                _, path, sha256 = words[1].decode().split()
                stored[path] = sha256
            disk.take(name, words, result)
            for way in range(len(WAYS)):
                left = disk.left(way, chance)
                same = hash((tuple(sorted(left.items(), key=lambda i: i[0])), len(stored)))
                if same not in seen:
                    seen.add(same)
                    made = lay_out(left, folder, scratch / "left")
                    look(made, stored, f"call {number} ({name}), {WAYS[way]}", found)
    return found


def lay_out(left: dict[str, bytes | None], root: Path, target: Path) -> Path:
    """Make the files that a power cut left."""
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir()
    for name in sorted(left):
        path = target / Path(name).relative_to(root)
        if not path.parent.is_dir():
            continue  # its folder is lost, and it with it
        if left[name] is None:
            path.mkdir()
        elif not path.name.endswith("-shm"):  # memory shared by processes
            path.write_bytes(left[name])
    return target


def main() -> None:
    """Print what was found."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--seed", type=int, default=1)
    found = replay(options.parse_args().seed)
    print(f"{found.states} states of the disk after a power cut")
    print(
        f"  {len(found.lost)} frames lost or changed that were reported as stored", *found.lost[:3]
    )
    print(f"  {len(found.half)} half pictures under a final name", *found.half[:3])
    print(f"  {len(found.disagree)} catalogues that disagree with the folder", *found.disagree[:3])


if __name__ == "__main__":
    main()
