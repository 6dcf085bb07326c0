"""Work that was started from a page: how far it is, what it says, and how it ended."""

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.jobs import Job

_SHOWN_AT_WORK, _SHOWN = 40, 400
_FOLDED = ("  + ", "  - ", "  and ")
"""How lines begin that name single files: they are summed up above."""


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
    folded = [] if job.runs else [line for line in lines if line.startswith(_FOLDED)]
    shown = [line for line in lines if line not in folded] if folded else lines
    return asked.page("work.html", job=job, lines=shown, folded=folded)


def _stop(asked: Asked) -> Response:
    job = _job(asked)
    asked.desk.jobs.stop(job)
    return asked.note(f"{job.what}: stopped; it goes on from there next time.", job.back)


ROUTES = (get("/jobs/{number}", _page), post("/jobs/{number}/stop", _stop))
