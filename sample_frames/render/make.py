"""Make the rendered sample season: ``python -m render.make --out DIR COMMAND`` (see README.md)."""

from __future__ import annotations

import argparse
import datetime as dt
import multiprocessing
import os
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from . import story
from .season_files import AREAS, instant, write_frames_table, write_rows, write_texts
from .story import CAMERA, Frame, frame_at, frames

SAMPLES = 4
COARSE = ("20260317T100000Z", "20260328T084500Z", "20260408T090000Z", "20260411T063000Z",
          "20260417T100000Z", "20260421T063000Z", "20260428T113000Z", "20260506T100000Z",
          "20260517T160000Z", "20260523T090000Z")  # fmt: skip
MASK_EVERY = 2
CAMERA_COLUMNS = ("camera", "taken_at", "shift_x_px", "shift_y_px", "turn_deg",
                  *(f"m{r}{c}" for r in range(3) for c in range(3)))  # fmt: skip


def _moment(text: str) -> dt.datetime:
    return dt.datetime.strptime(text, "%Y%m%dT%H%M%SZ").replace(tzinfo=dt.UTC)


def _save_mask(mask: np.ndarray, path: Path):
    image = Image.fromarray(mask)
    hues = np.uint8([[[(37 * i) % 180, 200 if i else 0, 220 if i else 0] for i in range(256)]])
    image.putpalette(cv2.cvtColor(hues, cv2.COLOR_HSV2RGB).ravel().tolist())
    path.parent.mkdir(parents=True, exist_ok=True)
    image.save(path, optimize=True)


def _truth_of(job: tuple[Path, int]) -> tuple[list, list]:
    """Rows of one frame's truth; writes its masks."""
    from .truth import registration, truth_of

    out, number = job
    frame = frames()[number]
    truth, when = truth_of(frame), instant(frame.moment)
    if number % MASK_EVERY == 0:
        name = f"{story.stamp(frame.moment)}.png"
        _save_mask(truth.mask, out / "truth" / "masks" / name)
        if (truth.pair == 3).any():
            _save_mask(truth.pair, out / "truth" / "pair" / name)
    areas = [
        (CAMERA, when, s.name, f"{s.area_px:.2f}", f"{s.area_cm2:.4f}", f"{s.area_level_cm2:.4f}",
         s.leaves, f"{s.law_cm2:.3f}", f"{s.height_cm:.1f}")
        for s in truth.seen
    ]  # fmt: skip
    matrix = registration(frame.moment).ravel()
    shift, roll = story.camera_turn(story.day_time(frame.moment))
    camera = (CAMERA, when, *(f"{v:.4f}" for v in (*shift, roll)), *(f"{v:.9g}" for v in matrix))
    return areas, camera


def make_truth(out: Path, workers: int):
    """Write every table and mask of the truth."""
    write_texts(out)
    listed = [f for f in frames() if f.state != "truncated"]
    write_frames_table(out, frames())
    jobs = [(out, n) for n, f in enumerate(frames()) if f.state != "truncated"]
    areas, cameras, began = [], [], time.monotonic()
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        for done, (rows, camera) in enumerate(pool.imap(_truth_of, jobs), start=1):
            areas += rows
            cameras.append(camera)
            _tell(done, len(listed), began)
    write_rows(out / "truth" / "areas.csv", AREAS, areas)
    write_rows(out / "truth" / "camera.csv", CAMERA_COLUMNS, cameras)


def _tell(done: int, total: int, began: float):
    spent = time.monotonic() - began
    left = spent / done * (total - done) / 60
    print(f"{done} of {total}, {spent / done:.1f} s each, {left:.0f} min left", flush=True)


def render(out: Path, wanted: list[Frame], samples: int, scratch: Path, again=False):
    """Render frames that are not there yet; yields each frame's path."""
    from .camera import develop, jpeg, with_time
    from .scene import Studio

    studio = None
    for frame in wanted:
        path = out / frame.path
        if path.exists() and not again:
            continue
        if frame.repeats:
            yield from render(out, [frame_at(frame.repeats)], samples, scratch)
            data = with_time((out / frame_at(frame.repeats).path).read_bytes(), frame)
        else:
            studio = studio or Studio(scratch, samples)
            data = jpeg(develop(studio.picture(frame), frame), frame)
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(f".{os.getpid()}.part")
        part.write_bytes(data)
        part.replace(path)
        yield path


def _render_share(job):
    out, share, samples, scratch, tally, core = job
    if hasattr(os, "sched_setaffinity"):  # the denoiser would wake threads on every core
        os.sched_setaffinity(0, {core})
    for _ in render(out, share, samples, scratch):
        with tally.get_lock():
            tally.value += 1


def render_all(out: Path, workers: int, samples: int, scratch: Path):
    """Render what is missing, with one single-threaded Blender a worker."""
    from .textures import write_all

    write_all(scratch / "textures")
    missing = [f for f in frames() if not (out / f.path).exists()]
    np.random.default_rng(0).shuffle(missing)  # a run stopped half-way shows the whole season
    context = multiprocessing.get_context("spawn")
    tally = context.Value("i", 0)
    cores = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else [0]
    jobs = [(out, missing[k::workers], samples, scratch, tally, cores[k % len(cores)])
            for k in range(workers)]  # fmt: skip
    running = [context.Process(target=_render_share, args=(job,)) for job in jobs]
    began, before = time.monotonic(), 0
    for process in running:
        process.start()
    while any(process.is_alive() for process in running):
        time.sleep(5)
        if tally.value > before:
            before = tally.value
            _tell(before, len(missing), began)
    failed = [process.exitcode for process in running if process.exitcode]
    if failed:
        raise SystemExit(f"{len(failed)} of {workers} renderers failed; run the same again")


def compare(wanted: list[Frame], scratch: Path):
    """Print how far the rasteriser's masks agree with those of Cycles."""
    from .scene import Studio
    from .truth import truth_of

    studio = Studio(scratch)
    for frame in wanted:
        ours, theirs = truth_of(frame).mask, studio.mask(frame)
        plants = (ours > 0) | (theirs > 0)
        off = [abs(int((ours == n).sum()) - int((theirs == n).sum())) for n in range(1, 31)]
        print(f"{story.stamp(frame.moment)}: {np.mean(ours == theirs):.5%} of all pixels equal, "
              f"{np.mean(ours[plants] == theirs[plants]):.3%} of plant pixels; a plant's count "
              f"differs by {max(off)} px at most", flush=True)  # fmt: skip


def contact_sheet(out: Path, count=24):
    """Twenty-four frames over the season on one sheet, six across."""
    usable = [f for f in frames() if f.state == "usable" and (out / f.path).exists()]
    chosen = [usable[round(k)] for k in np.linspace(0, len(usable) - 1, count)]
    small = [
        Image.open(out / f.path).convert("RGB").resize((320, 240), Image.LANCZOS) for f in chosen
    ]
    sheet = Image.new("RGB", (6 * 328 + 8, count // 6 * 248 + 8), "white")
    for k, picture in enumerate(small):
        sheet.paste(picture, (8 + k % 6 * 328, 8 + k // 6 * 248))
    sheet.save(out / "contact-sheet.jpg", quality=85)


def main(arguments: list[str] | None = None):
    """Run one command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--samples", type=int, default=SAMPLES)
    parser.add_argument(
        "--scratch", type=Path, default=Path(tempfile.gettempdir()) / "lapsekit-render"
    )
    commands = parser.add_subparsers(dest="command", required=True)
    for name in ("truth", "all"):
        commands.add_parser(name).add_argument("--workers", type=int, default=1)
    for name in ("moment", "compare"):
        commands.add_parser(name).add_argument("utc", type=_moment, nargs="+")
    commands.add_parser("coarse"), commands.add_parser("sheet"), commands.add_parser("texts")
    options = parser.parse_args(arguments)
    out, scratch = options.out, options.scratch
    if options.command == "truth":
        make_truth(out, options.workers)
    elif options.command == "all":
        render_all(out, options.workers, options.samples, scratch)
    elif options.command == "compare":
        compare([frame_at(m) for m in options.utc], scratch)
    elif options.command == "sheet":
        contact_sheet(out)
    elif options.command == "texts":
        write_texts(out)
        write_frames_table(out, frames())
    else:
        wanted = options.utc if options.command == "moment" else map(_moment, COARSE)
        if (out / "truth" / "areas.csv").exists():
            parser.error(f"{out} holds the season itself; give --out another folder for looks")
        chosen = [frame_at(m) for m in wanted]
        began = time.monotonic()
        for done, path in enumerate(
            render(out, chosen, options.samples, scratch, again=True), start=1
        ):
            print(path)
            _tell(done, len(chosen), began)


if __name__ == "__main__":
    main()
