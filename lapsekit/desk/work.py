"""Work that was started from a page: how far it is, what it says, and how it ended."""

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.jobs import Job

_SHOWN_AT_WORK, _SHOWN = 40, 400


def _job(asked: Asked) -> Job:
    job = asked.desk.jobs.find(asked.named["number"])
    if job is None:
        raise HTTPException(404)
    return job


def _page(asked: Asked) -> Response:
    job = _job(asked)
    lines = list(job.said)[-(_SHOWN_AT_WORK if job.runs else _SHOWN) :]
    if asked.wants_data:
        return asked.data(runs=job.runs, code=job.code, lines=lines)
    return asked.page("work.html", job=job, lines=lines)


def _stop(asked: Asked) -> Response:
    job = _job(asked)
    asked.desk.jobs.stop(job)
    return asked.note(f"{job.what}: stopped; it goes on from there next time.", job.back)


ROUTES = (get("/jobs/{number}", _page), post("/jobs/{number}/stop", _stop))
