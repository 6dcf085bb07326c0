"""Publishing cut off at random moments, and what a site that has not changed moves.

    python -m tests.bench.publishing_cuts [--cuts 50] [--kinds rsync sftp s3 webdav folder]

Each kind of place is a real server on loopback. A version of a site is published in a process that
is killed, with all it started, at a random moment; then everything that a reader can reach from the
front page must be there and whole, and the next publication must make the far side equal. Traffic
is counted by a relay before the server, both ways, for a site of 1,000 files.
"""

import argparse
import random
import socket
import tempfile
import threading
from pathlib import Path

from lapsekit.publishing import publish
from lapsekit.season import Season
from tests.publishing.sites import broken, contents, cut_off, published, target, write_site
from tests.scenes import SETTINGS, make_season

KINDS = ("folder", "rsync", "sftp", "s3", "webdav")


class Relay:
    """Passes connections on and counts their bytes."""

    def __init__(self, port: int):
        self.moved, self._port = 0, port
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = self._listening.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            near, _ = self._listening.accept()
            far = socket.create_connection(("127.0.0.1", self._port))
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._pass, args=(one, other), daemon=True).start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        try:
            while data := one.recv(1 << 16):
                self.moved += len(data)
                other.sendall(data)
            other.shutdown(socket.SHUT_WR)
        except OSError:
            other.close()


def season_at(folder: Path, settings: str) -> Season:
    """A season that publishes there."""
    make_season(folder, f"{SETTINGS}\n[publish]\n{settings}").catalogue.close()
    return Season(folder)


def cut(kind: str, cuts: int, folder: Path, seed: int) -> tuple[int, int, int]:
    """How often it was cut off, how often a reader met something broken, and how often unequal."""
    chance, killed, harmed, unequal = random.Random(seed), 0, 0, 0
    with target(kind, folder) as place:
        season = season_at(folder / "season", place.settings)
        season.catalogue.close()
        site, known, took, version = season.folder / "site", {}, 1.0, 0
        while killed < cuts:
            version += 1
            now = write_site(site, version, days=12)
            for name, digest in now.items():
                known.setdefault(name, set()).add(digest)
            killed += cut_off(season.folder, chance.uniform(0.25, 1.0) * took)
            harmed += bool(broken(place.folder, known))
            took = published(season.folder)
            unequal += contents(place.folder) != now
    return killed, harmed, unequal


def traffic(kind: str, folder: Path) -> tuple[int, int, int]:
    """Files of a site, and bytes moved by its first publication and by one without change."""
    relays: list[Relay] = []

    def through(port: int) -> int:
        relays.append(Relay(port))
        return relays[0].port

    with target(kind, folder, through) as place:
        season = season_at(folder / "season", place.settings)
        files = write_site(season.site, 1, days=499)
        publish(season)
        first = relays[0].moved
        publish(season)
        season.catalogue.close()
        return len(files), first, relays[0].moved - first


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--cuts", type=int, default=50)
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    print(f"{'place':8} {'cut off':>8} {'readers harmed':>15} {'unequal after':>14} "
          f"{'files':>6} {'unchanged moves':>16}", flush=True)  # fmt: skip
    for kind in given.kinds:
        with tempfile.TemporaryDirectory() as scratch:
            killed, harmed, unequal = cut(kind, given.cuts, Path(scratch), given.seed)
        moved = ""
        if kind != "folder":
            with tempfile.TemporaryDirectory() as scratch:
                files, _, again = traffic(kind, Path(scratch))
            moved = f"{files:6} {again / 1000:13.1f} kB"
        print(f"{kind:8} {killed:8} {harmed:15} {unequal:14} {moved}", flush=True)


if __name__ == "__main__":
    main()
