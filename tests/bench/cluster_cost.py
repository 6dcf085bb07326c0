"""What a cluster costs beside measuring, for each frame, and what a thousand cameras would need.

    python -m tests.bench.cluster_cost [--days N] [--tasks N] [--json FILE]

Frames of the sample season are measured in this process, and on one worker process of this machine
over TLS. Dask's client and scheduler run in this process then, so its own processor time is all
that a frame costs beside its measuring: planning, scheduling, sending, putting down, merging. It is
measured a second time out of the finished tables, with no task at all, which tells merging from
scheduling. The projection multiplies what was measured; its assumptions are printed with it.
"""

import argparse
import json
import os
import platform
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import cv2

from lapsekit import viewing
from lapsekit.clusters.joining import joined
from lapsekit.clusters.measuring_there import MOST_FRAMES, MeasuringThere
from lapsekit.measuring import measure
from lapsekit.viewing import View
from tests.cluster.clusters import SAMPLE, copy_of, sample_season, without_catalogue

CAMERAS, FRAMES_A_DAY = 1000, 50


def clocked(spent):
    """A track that adds up the processor seconds of this process by the kind of work."""

    def track(items, total, label):
        began = time.process_time()
        yield from items
        spent[label] += time.process_time() - began

    return track


def nothing(told, item):
    """A task that does nothing: what it costs is scheduling."""
    return item


def measured(season, there=None):
    """Processor seconds of this process by kind of work, all of it, and the wall's."""
    spent: dict[str, float] = defaultdict(float)
    cpu, wall = time.process_time(), time.monotonic()
    report = measure(season, workers=1, track=clocked(spent), elsewhere=there)
    spent["all"] = time.process_time() - cpu
    spent["wall"] = time.monotonic() - wall
    return spent, report


def bare_tasks(machines, count):
    """Processor milliseconds of client and scheduler for each task that does nothing."""
    began = time.process_time()
    assert sum(1 for _ in machines.spread(nothing, None, range(count))) == count
    return 1e3 * (time.process_time() - began) / count


def of_a_camera(season):
    """Processor milliseconds of finding out whether a view holds; of making its reference ready."""
    times = []
    for asked in ("is_held_to", "reference"):
        viewing._held.clear()
        viewing._sights.clear()
        view = View(season, "bench")
        began = time.process_time()
        getattr(view, asked)
        times.append(1e3 * (time.process_time() - began))
    return times[0], times[1] - times[0]


def run(days, tasks):
    """Everything measured, in milliseconds of processor time unless it says otherwise."""
    cv2.setNumThreads(1)
    names = sorted(f.name for f in (SAMPLE / "frames" / "bench").iterdir())
    with tempfile.TemporaryDirectory() as scratch:
        season = sample_season(Path(scratch) / "season", names[:days], 99, strokes=False)
        here, there = (copy_of(season, Path(scratch) / name) for name in ("here", "there"))
        alone, report = measured(here)
        frames = report.measured
        with joined("local", 1) as machines:
            bare_tasks(machines, 20)
            far, _ = measured(there, MeasuringThere(machines))
            used = machines.tasks - 20
            task_ms = bare_tasks(machines, tasks)
            again = without_catalogue(there)
            merged, _ = measured(again, MeasuringThere(machines))
        files = [f.stat().st_size for f in (season.folder / "frames").rglob("*.jpg")]
        tables = [f.stat().st_size for f in (again.folder / "measured").rglob("*.parquet")]
        covers = [f.stat().st_size for f in (again.folder / ".cache").rglob("2*.png")]
        held_ms, reference_ms = of_a_camera(again)
    a_frame = dict.fromkeys(("alone", "far", "merged"), 1000.0 / frames)
    return {
        "frames": frames,
        "camera_days": days,
        "tasks": used,
        "measuring_here_ms": alone["measuring"] * a_frame["alone"],
        "beside_on_a_cluster_ms": far["measuring"] * a_frame["far"],
        "of_that_merging_ms": merged["measuring"] * a_frame["merged"],
        "scheduling_ms": (far["measuring"] - merged["measuring"]) * a_frame["far"],
        "bare_task_ms": task_ms,
        "days_a_camera_day_ms": 1e3 * far["working out days"] / days,
        "view_a_camera_ms": held_ms,
        "reference_a_task_ms": reference_ms,
        "frame_bytes": sum(files) / len(files),
        "reply_bytes": (sum(tables) + sum(covers)) / frames,
        "wall_ratio_one_worker": far["wall"] / alone["wall"],
    }


def projected(found):
    """On paper: a day of many cameras, from what was measured here."""
    frames = CAMERAS * FRAMES_A_DAY
    tasks = CAMERAS * -(-FRAMES_A_DAY // MOST_FRAMES)
    workers_s = (frames * found["measuring_here_ms"] + tasks * found["reference_a_task_ms"]) / 1e3
    return {
        "frames": frames,
        "tasks": tasks,
        "worker_core_hours": workers_s / 3600,
        "season_machine_beside_measuring_minutes": frames * found["beside_on_a_cluster_ms"] / 60e3,
        "bare_scheduling_minutes": tasks * found["bare_task_ms"] / 60e3,
        "views_minutes": CAMERAS * found["view_a_camera_ms"] / 60e3,
        "days_minutes": CAMERAS * found["days_a_camera_day_ms"] / 60e3,
        "workers_kept_busy": found["measuring_here_ms"] / found["beside_on_a_cluster_ms"],
        "read_gb": 2 * frames * found["frame_bytes"] / 1e9,
        "sent_back_gb": frames * found["reply_bytes"] / 1e9,
    }


ASSUMPTIONS = f"""\
assumed: frames like the sample season's (960 x 720 px, {{regions}} regions a camera), workers as fast
as a core here; one task for {MOST_FRAMES} frames of a camera's day at most, each making the reference view
ready anew; each frame read twice, once to be indexed; the network faster than that needs; all of it
one season on one machine, whose part grows in proportion; judging, indexing's rows and growth not
counted. Frames of 12 megapixels take as much longer as tests/bench/measuring_cost.py says."""


def told(found, paper, regions):
    """The table, as lines."""
    yield f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    yield f"{found['frames']} frames of {found['camera_days']} camera-days in {found['tasks']} tasks"
    yield "processor time of one frame, ms"
    yield f"  measuring it here                     {found['measuring_here_ms']:8.2f}"
    yield f"  beside measuring, on a cluster        {found['beside_on_a_cluster_ms']:8.2f}"
    yield f"    of that merging                     {found['of_that_merging_ms']:8.2f}"
    yield f"    of that scheduling and putting down {found['scheduling_ms']:8.2f}"
    ratio = found["beside_on_a_cluster_ms"] / found["measuring_here_ms"]
    yield f"  ratio                                 {ratio:8.3f}"
    yield f"an empty task, ms                       {found['bare_task_ms']:8.2f}"
    yield f"a camera's day worked out, ms           {found['days_a_camera_day_ms']:8.2f}"
    yield f"a camera's view looked at anew, ms      {found['view_a_camera_ms']:8.2f}"
    yield f"its reference made ready for a task, ms {found['reference_a_task_ms']:8.2f}"
    yield f"{CAMERAS} cameras x {FRAMES_A_DAY} frames a day, on paper"
    for name, value in paper.items():
        yield f"  {name.replace('_', ' '):40s}{value:10,.1f}"
    yield ASSUMPTIONS.format(regions=regions)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--days", type=int, default=20, help="of the sample season")
    parser.add_argument("--tasks", type=int, default=400, help="that do nothing")
    parser.add_argument("--json", type=Path, help="write the figures there too")
    given = parser.parse_args()
    found = run(given.days, given.tasks)
    paper = projected(found)
    regions = (SAMPLE / "regions.toml").read_text().count("[[region]]")
    print(*told(found, paper, regions), sep="\n")
    if given.json:
        given.json.write_text(json.dumps({"measured": found, "projected": paper}, indent=1))


if __name__ == "__main__":
    main()
