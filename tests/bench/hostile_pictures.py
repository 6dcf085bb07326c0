#!/usr/bin/env python3
"""Thousands of hostile and broken files through the process that opens strangers' pictures.

Run with ``python -m tests.bench.hostile_pictures``. Each file is opened as an arriving one is. It
counts what became of them, asserts that whatever was kept is a clean picture of ours, and prints
the most memory and processor time that any of them took, beside the limits.
"""

import argparse
import collections
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from lapsekit.followers import opener
from lapsekit.followers.confining import CPU_S, MEMORY_MB, WALL_S
from lapsekit.followers.making import jpeg_of
from lapsekit.followers.opening import Refused, confinement, open_picture
from tests.hostile import all_cases, require_clean


def opened(data):
    """What becomes of bytes: the kept picture, or why there is none."""
    try:
        made = open_picture(data, 1600)
    except Refused as refused:
        return None, str(refused)
    return jpeg_of(made.width, made.height, made.pixels), "kept, made anew"


def main():
    """Make the files, then open all of them; a file that breaks a rule ends it."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--each", type=int, default=30, help="ways to damage each picture")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--write", type=Path, help="only write the files into this folder")
    options.add_argument("--judge", type=Path, help="only open the files of this folder")
    asked = options.parse_args()
    if asked.write is not None:
        for number, (name, data) in enumerate(all_cases(asked.seed, asked.each)):
            (asked.write / f"{number:05} {name}").write_bytes(data)
        return
    if asked.judge is not None:
        judge(sorted(asked.judge.iterdir()))
        return
    with tempfile.TemporaryDirectory() as folder:
        # Apart, since a process that is started counts the memory of the one that starts it.
        apart = [sys.executable, "-m", "tests.bench.hostile_pictures", *sys.argv[1:]]
        subprocess.run([*apart, "--write", folder], check=True)
        subprocess.run([*apart, "--judge", folder], check=True)


def judge(files):
    """Open all of them, and tell."""
    counts, slowest = collections.Counter(), (0.0, "")
    for file in files:
        name, data = file.name, file.read_bytes()
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
        picture, what = opened(data)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        slowest = max(slowest, (spent, name))
        counts[what] += 1
        assert spent <= CPU_S + 2 and time.monotonic() - began < WALL_S + 10, name
        if picture is not None:
            try:
                require_clean(picture, data)
            except AssertionError:
                print(f"{name}: not clean", file=sys.stderr)
                raise
    largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"{sum(counts.values())} files, confined by {confinement()}, none broke the receiver")
    for what, number in counts.most_common():
        print(f"{number:6} {what}")
    print(
        f"most memory {largest:.0f} MB (limit {MEMORY_MB}), at most {opener.MOST_PIXELS:,} pixels"
    )
    print(f"most processor time {slowest[0]:.1f} s (limit {CPU_S}): {slowest[1]}")


if __name__ == "__main__":
    main()
