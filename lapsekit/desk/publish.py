"""The site before others see it: a preview, what will go out, and putting it out."""

import json
import os
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, RedirectResponse, Response

from lapsekit.checking.work import last_morning
from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.frames import days_waiting
from lapsekit.desk.going_out import going_out
from lapsekit.desk.jobs import Job
from lapsekit.errors import SettingsError
from lapsekit.publishing import PublishReport
from lapsekit.season import Season
from lapsekit.verdicts import SAID_NO

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".csv": "text/csv; charset=utf-8",
    ".svg": "image/svg+xml",
    ".jpg": "image/jpeg",
    ".png": "image/png",
    ".webp": "image/webp",
    ".avif": "image/avif",
    ".gif": "image/gif",
    ".mp4": "video/mp4",
    ".vtt": "text/vtt; charset=utf-8",
    ".woff2": "font/woff2",
    ".wasm": "application/wasm",
    ".atom": "application/atom+xml",
    ".ics": "text/calendar; charset=utf-8",
    ".xml": "application/xml",
    ".txt": "text/plain; charset=utf-8",
    ".zip": "application/zip",
}
"""What the site's files are told to be; any other is bytes."""

_BUILDING = ("site", "publish")
_FIRST = (("measure",),)
"""What is not measured or judged by today's settings and verdicts yet is worked out before."""
_DEEPEST = 12


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        front = season.site / "index.html"
        built = (
            datetime.fromtimestamp(front.stat().st_mtime, season.zone) if front.is_file() else None
        )
        table, zone = season.settings.publish, season.zone
        morning = last_morning(season.folder)
        somebody, said_no = _held_back(season)
        waiting = days_waiting(season)
    return asked.page(
        "publish.html",
        built=built,
        to=table.to,
        target=table.target,
        morning=morning and (morning.ended_at.astimezone(zone), morning.code),
        somebody=somebody,
        said_no=said_no,
        waiting=waiting,
        job=next((job for job in asked.desk.jobs.running if job.words[0] in _BUILDING), None),
    )


def _held_back(season: Season) -> tuple[int, int]:
    """Frames that stay back as somebody may be recognisable in them, and by the grower's word."""
    from lapsekit.listing import list_frames

    rows = list_frames(season, left_out=True).rows
    said_no = sum(row.reason == SAID_NO for row in rows)
    return sum(row.may_show_somebody for row in rows) - said_no, said_no


def found(site: Path, parts: Sequence[str]) -> Path | None:
    """A file of the site, each part of its path looked up in what lies there; None for none.

    Parameters
    ----------
    site : pathlib.Path
    parts : sequence of str
        Names from the site's folder on; a folder means its ``index.html``.
    """
    here = site
    for name in parts:
        there = {e.name: e for e in os.scandir(here)} if here.is_dir() else {}
        entry = there.get(name)
        if entry is None or name.startswith(".") or entry.is_symlink():
            return None
        here = here / entry.name
    if here.is_dir():
        return found(here, ["index.html"])
    return here if here.is_file() else None


def _preview(asked: Asked) -> Response:
    path = asked.named.get("path", "")
    parts = [part for part in path.split("/") if part]
    file = found(asked.desk.folder / "site", parts) if len(parts) <= _DEEPEST else None
    if file is None:
        raise HTTPException(404)
    if file.name == "index.html" and parts[-1:] != ["index.html"] and not asked.path.endswith("/"):
        return RedirectResponse(f"{asked.path}/", 307)
    kind = KINDS.get(file.suffix, "application/octet-stream")
    return FileResponse(file, media_type=kind, headers={"cache-control": "no-cache"})


def _build(asked: Asked) -> Response:
    return asked.work("The site", ["site"], "/publish/", first=_FIRST)


def _dry_run(asked: Asked) -> Response:
    _require_place(asked)
    return asked.work(
        "What will go out",
        ["publish", "--dry-run", "--json"],
        "/publish/",
        _whole,
        (*_FIRST, ("site",)),
    )


def _whole(job: Job) -> None:
    """Say first what would go out in all, then the files; what came before, only if it failed."""
    said = list(job.said)
    if "{" not in said:
        return
    told = json.loads("\n".join(said[said.index("{") :]))
    job.said.clear()
    job.said.extend([*job.faults, *going_out(PublishReport(**told))])


def _publish(asked: Asked) -> Response:
    _require_place(asked)
    return asked.work("Publishing", ["publish"], "/publish/", first=_FIRST)


def _require_place(asked: Asked) -> None:
    with asked.season() as season:
        if season.settings.publish.to is None:
            raise SettingsError("Say first, under publish in the settings, where the site goes.")


ROUTES = (
    get("/publish/", _page),
    post("/publish/build", _build),
    post("/publish/dry-run", _dry_run),
    post("/publish/now", _publish),
    get("/preview/", _preview),
    get("/preview/{path:path}", _preview),
)
