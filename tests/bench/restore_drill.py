"""The drill on the sample season: copied, encrypted, restored elsewhere, measured, compared.

    python -m tests.bench.restore_drill [--kind sealed]

Prints what the copy and the drill say, then whether growth tables of the restored season equal
those of the first, byte for byte, and what is found after one bit was flipped at the far side.
"""

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from lapsekit.sample import sample_frames_folder
from tests.copying.keeping import KINDS, far, flip

TEXTS = ("season.toml", "regions.toml", "diary.csv", "weather.csv")


def lapsekit(*arguments: object) -> str:
    """Run a command; its words and how long it took."""
    began = time.monotonic()
    command = [sys.executable, "-m", "lapsekit", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    said = (done.stdout or done.stderr).strip().splitlines()
    print(f"lapsekit {arguments[0]}: {time.monotonic() - began:.1f} s, code {done.returncode}")
    for line in said[-3:]:
        print(f"    {line}", flush=True)
    return done.stdout


def tables(folder: Path) -> dict[str, bytes]:
    """Growth tables of a season."""
    lapsekit("measure", "--season", folder)
    lapsekit("growth", "--season", folder)
    return {file.name: file.read_bytes() for file in (folder / "growth").glob("*.csv")}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--kind", choices=KINDS, default="sealed")
    given, sample = parser.parse_args(), sample_frames_folder(None)
    with tempfile.TemporaryDirectory() as scratch, far(given.kind, Path(scratch)) as place:
        season, new = Path(scratch, "season"), Path(scratch, "new")
        shutil.copytree(sample / "frames", season / "frames")
        for name in TEXTS:
            shutil.copy(sample / name, season)
        with (season / "season.toml").open("a") as file:
            file.write(f"\n[copies]\n{place.settings}")
        lapsekit("trust", season)
        lapsekit("copy", "--season", season)
        lapsekit("copy", "--season", season)
        lapsekit("copy", "--drill", "--all", "--season", season)
        lapsekit("restore", new, "--from", season)
        first, again = tables(season), tables(new)
        print(f"{len(first)} tables, equal byte for byte: {first == again}")
        flip(
            max((f for f in place.folder.rglob("*") if f.is_file()), key=lambda f: f.stat().st_size)
        )
        lapsekit("copy", "--drill", "--all", "--season", season)
        lapsekit("copy", "--verify", "--season", season)
        lapsekit("copy", "--drill", "--all", "--season", season)


if __name__ == "__main__":
    main()
