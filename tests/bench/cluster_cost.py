"""What a cluster costs beside measuring, for each frame, and what a thousand cameras would need.

    python -m tests.bench.cluster_cost [--days N] [--tasks N] [--json FILE]

Frames of the sample season are measured in this process, and on one worker process of this machine
over TLS. What a frame costs beside its measuring has two parts. Putting down and merging is the
processor time of the thread that does it, for the whole season; merging alone is seen when the
season is measured once more out of its finished tables. Scheduling and sending is that of client
and scheduler, which both run in this process then, for tasks that do nothing but send back the
reply of a full one, divided by the frames of such a task. All times are processor times, so that
another load on the machine weighs little. The projection multiplies them; its assumptions are
printed.
"""

import argparse
import json
import os
import platform
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import cv2

from lapsekit import viewing
from lapsekit.clusters.job import Batch, Place, job_of
from lapsekit.clusters.joining import joined
from lapsekit.clusters.measuring_there import MOST_FRAMES, MeasuringThere
from lapsekit.clusters.versions import versions
from lapsekit.clusters.work import measured_batch
from lapsekit.frames.far import FarFrames
from lapsekit.measuring import measure
from lapsekit.ruler import Ruler
from lapsekit.viewing import View
from tests.bench.rows import Row
from tests.cluster.clusters import SAMPLE, copy_of, sample_season, without_catalogue

CAMERAS, FRAMES_A_DAY = 1000, 50


def clocked(spent):
    """A track that adds up the processor seconds of this thread by the kind of work."""

    def track(items, total, label):
        began = time.thread_time()
        yield from items
        spent[label] += time.thread_time() - began

    return track


def same(told, item):
    """A task that sends back what all tasks were told."""
    return told


def measured(season, there=None):
    """Processor seconds of this thread by kind of work, and frames measured."""
    spent: dict[str, float] = defaultdict(float)
    report = measure(season, workers=1, track=clocked(spent), elsewhere=there)
    return spent, report.measured


def tasks_ms(machines, reply, count):
    """Processor milliseconds of client and scheduler for each task that only sends a reply."""
    began = time.process_time()
    for _, found in machines.spread(same, reply, range(count)):
        assert found is None or len(found) == len(reply)
    return 1e3 * (time.process_time() - began) / count


def full_reply(season):
    """What a task of as many frames as one may have sends back."""
    ruler = Ruler(season)
    camera, day = "bench", season.catalogue.days_of_camera("bench")[-1]
    of_day = tuple(season.catalogue.frames(camera, day))
    place = Place(FarFrames.of_folder(season.folder), versions())
    found = measured_batch(job_of(ruler, [camera], place), Batch(camera, day, of_day, of_day))
    return [found[number % len(found)] for number in range(MOST_FRAMES)]


def of_a_camera(season):
    """Processor milliseconds of finding out whether a view holds; of making its reference ready."""
    times = []
    viewing._held.clear()
    for asked in ("is_held_to", "reference"):
        viewing._sights.clear()
        view = View(season, "bench")
        began = time.process_time()
        getattr(view, asked)
        times.append(1e3 * (time.process_time() - began))
    return times[0], times[1]


def run(days, tasks):
    """Everything measured, in milliseconds of processor time unless it says otherwise."""
    cv2.setNumThreads(1)
    names = sorted(f.name for f in (SAMPLE / "frames" / "bench").iterdir())
    with tempfile.TemporaryDirectory() as scratch:
        season = sample_season(Path(scratch) / "season", names[:days], 99, strokes=False)
        here, there = (copy_of(season, Path(scratch) / name) for name in ("here", "there"))
        alone, frames = measured(here)
        with joined("local", 1) as machines:
            reply = full_reply(here)
            tasks_ms(machines, None, 20)  # what is loaded once is loaded
            empty_ms, full_ms = (tasks_ms(machines, each, tasks) for each in (None, reply))
            before = machines.tasks
            far, _ = measured(there, MeasuringThere(machines))
            used = machines.tasks - before
            again = without_catalogue(there)
            merged, _ = measured(again, MeasuringThere(machines))
        files = [f.stat().st_size for f in (season.folder / "frames").rglob("*.jpg")]
        tables = [f.stat().st_size for f in (again.folder / "measured").rglob("*.parquet")]
        covers = [f.stat().st_size for f in (again.folder / ".cache").rglob("2*.png")]
        held_ms, reference_ms = of_a_camera(again)
    return {
        "frames": frames,
        "camera_days": days,
        "tasks": used,
        "measuring_here_ms": 1e3 * alone["measuring"] / frames,
        "putting_down_and_merging_ms": 1e3 * far["measuring"] / frames,
        "of_that_merging_ms": 1e3 * merged["measuring"] / frames,
        "scheduling_and_sending_ms": full_ms / MOST_FRAMES,
        "empty_task_ms": empty_ms,
        "full_task_ms": full_ms,
        "days_a_camera_day_ms": 1e3 * far["working out days"] / days,
        "view_a_camera_ms": held_ms,
        "reference_a_task_ms": reference_ms,
        "frame_bytes": sum(files) / len(files),
        "reply_bytes": (sum(tables) + sum(covers)) / frames,
    }


def beside_ms(found):
    """What a frame costs beside its measuring."""
    return found["putting_down_and_merging_ms"] + found["scheduling_and_sending_ms"]


def projected(found):
    """On paper: a day of many cameras, from what was measured here."""
    frames = CAMERAS * FRAMES_A_DAY
    tasks = CAMERAS * -(-FRAMES_A_DAY // MOST_FRAMES)
    workers_s = (frames * found["measuring_here_ms"] + tasks * found["reference_a_task_ms"]) / 1e3
    return {
        "frames": frames,
        "tasks": tasks,
        "worker_core_hours": workers_s / 3600,
        "scheduling_and_sending_minutes": tasks * found["full_task_ms"] / 60e3,
        "putting_down_and_merging_minutes": frames * found["putting_down_and_merging_ms"] / 60e3,
        "views_minutes": CAMERAS * found["view_a_camera_ms"] / 60e3,
        "days_minutes": CAMERAS * found["days_a_camera_day_ms"] / 60e3,
        "worker_cores_kept_busy": found["measuring_here_ms"] / beside_ms(found),
        "read_gb": 2 * frames * found["frame_bytes"] / 1e9,
        "sent_back_gb": frames * found["reply_bytes"] / 1e9,
    }


ASSUMPTIONS = f"""\
assumed: frames like the sample season's (960 x 720 px, {{regions}} regions a camera), workers as
fast as a core here; {MOST_FRAMES} frames of a camera's day a task at most, and each task makes the
reference view ready anew; each frame read twice, once to be indexed; a network that keeps up; one
season on one machine, whose part grows in proportion; the rows of the index, judging and growth are
not counted. A frame of 12 megapixels takes as much longer as tests/bench/measuring_cost.py says."""


def told(found, paper, regions):
    """The table, as lines."""
    yield f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    yield f"{found['frames']} frames of {found['camera_days']} days in {found['tasks']} tasks"
    yield "processor time of one frame, ms"
    yield f"  measuring it here                     {found['measuring_here_ms']:8.2f}"
    yield f"  scheduling and sending                {found['scheduling_and_sending_ms']:8.2f}"
    yield f"  putting down and merging              {found['putting_down_and_merging_ms']:8.2f}"
    yield f"    of that merging                     {found['of_that_merging_ms']:8.2f}"
    ratio = beside_ms(found) / found["measuring_here_ms"]
    yield f"  ratio of these to measuring           {ratio:8.3f}"
    yield f"a task that sends nothing, ms           {found['empty_task_ms']:8.2f}"
    yield f"a task that sends {MOST_FRAMES} frames' rows, ms   {found['full_task_ms']:8.2f}"
    yield f"a camera's day worked out, ms           {found['days_a_camera_day_ms']:8.2f}"
    yield f"a camera's view looked at anew, ms      {found['view_a_camera_ms']:8.2f}"
    yield f"its reference made ready for a task, ms {found['reference_a_task_ms']:8.2f}"
    yield f"{CAMERAS} cameras x {FRAMES_A_DAY} frames a day, on paper"
    for name, value in paper.items():
        yield f"  {name.replace('_', ' '):40s}{value:10,.1f}"
    yield ASSUMPTIONS.format(regions=regions)


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    found = run(1, 10) if quick else run(20, 100)
    paper = projected(found)
    yield Row(
        "cluster: scheduling, sending, putting down a frame",
        "measuring it",
        beside_ms(found) / found["measuring_here_ms"],
        told=f"{found['scheduling_and_sending_ms']:.2f} + "
        f"{found['putting_down_and_merging_ms']:.2f} ms of processor; {CAMERAS:,} cameras x "
        f"{FRAMES_A_DAY} frames a day on paper: {paper['worker_core_hours']:.1f} core-hours",
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--days", type=int, default=20, help="of the sample season")
    parser.add_argument("--tasks", type=int, default=100, help="that only send a reply")
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
