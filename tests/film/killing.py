"""A film whose making is killed at random moments; run as a program, since it forks.

    python -m tests.film.killing FOLDER KILLS SEED

Prints what was found as JSON: kills that hit, broken files under final names, files that differ
from those of a film that was never disturbed.
"""

import hashlib
import json
import os
import random
import shutil
import signal
import sys
import time
from pathlib import Path

import av

from lapsekit.film.encoding import RECIPES
from lapsekit.film.joining import join
from lapsekit.film.segments import make_segments, prune
from lapsekit.film.tracks import Cue
from lapsekit.safely import remove_leftovers
from tests.film.made_films import PER_SECOND, jobs_of

COUNTS = [4, 2, 6, 1, 5, 4, 3, 6, 4, 4, 2, 6]


def make(folder):
    """The whole making of a film."""
    remove_leftovers(folder)
    segments = make_segments(
        folder / "parts",
        jobs_of(COUNTS),
        RECIPES["web"],
        PER_SECOND,
        view=lambda picture: picture[::32, ::32],
        workers=2,
    )
    told = [Cue(0, 0.5, "It begins")]
    join(folder / "film.mp4", segments, PER_SECOND, chapters=told, captions=told)
    prune(folder / "parts", segments)


def forked(work, wait_s=None):
    """Run `work` in a process of its own; whether it was killed, after `wait_s`, before its end."""
    child = os.fork()
    if not child:
        work()
        os._exit(0)
    if wait_s is not None:
        time.sleep(wait_s)
        os.kill(child, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def pictures_hash(path):
    """Hash of a film's decoded pictures, and how many they are."""
    digest, count = hashlib.sha256(), 0
    with av.open(str(path)) as film:
        film.streams.video[0].thread_type = "NONE"
        for frame in film.decode(video=0):
            digest.update(frame.to_ndarray().tobytes())
            count += 1
    return digest.hexdigest(), count


def hashes(folder):
    """Those of every film file under a final name; a broken one raises."""
    files = [p for p in folder.rglob("*.mp4") if not p.name.startswith(".part-")]
    return {f"{path.relative_to(folder)}": pictures_hash(path) for path in files}


def main(folder, kills, seed):
    """Kill, look, and let it finish."""
    chance, began = random.Random(seed), time.monotonic()
    forked(lambda: make(folder / "calm"))
    lasts_s = time.monotonic() - began
    truth = hashes(folder / "calm")
    found = {"kills": 0, "tries": 0, "broken": [], "other": [], "whole": 0, "parts": []}
    harried = folder / "harried"
    while found["kills"] < kills and found["tries"] < 20 * kills:
        found["tries"] += 1
        if not forked(lambda: make(harried), chance.uniform(0, lasts_s)):
            emptied(harried / "parts")  # the film stays, and is made again
            continue
        found["kills"] += 1
        look(harried, truth, found)
        if chance.random() < 0.3:
            emptied(harried)
    forked(lambda: make(harried))
    end = hashes(harried)
    found["same"] = end == truth and names(harried) == names(folder / "calm")
    print(json.dumps(found))


def emptied(folder):
    """The folder without what was in it."""
    shutil.rmtree(folder)
    folder.mkdir()


def look(folder, truth, found):
    """Note what is wrong under final names after a kill."""
    found["whole"] += (folder / "film.mp4").exists()
    found["parts"].append(len(list((folder / "parts").glob("[!.]*.mp4"))))
    try:
        seen = hashes(folder)
    except (av.FFmpegError, OSError) as error:
        found["broken"].append(str(error))
        return
    found["other"] += [name for name, value in seen.items() if truth[name] != value]


def names(folder):
    """All files there are."""
    return sorted(f"{p.relative_to(folder)}" for p in folder.rglob("*") if p.is_file())


if __name__ == "__main__":
    for each in ("calm", "harried"):
        Path(sys.argv[1], each).mkdir()
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
