"""How the season and its machine are: what is wrong, what to watch, what is fine."""

import json
from dataclasses import dataclass
from datetime import datetime

from starlette.responses import Response

from lapsekit.checking import FINE, WATCH, WRONG, Finding, check
from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.desk import Desk
from lapsekit.desk.jobs import Job
from lapsekit.errors import SettingsError

_KEPT = "health"


@dataclass(frozen=True)
class Looked:
    """The last look at everything: when, and what cameras and far places came to."""

    at: datetime
    findings: list[Finding]


def _page(asked: Asked) -> Response:
    looked: Looked | None = asked.desk.kept.get(_KEPT)
    with asked.season() as season:
        found = check(season, asks=False)
        zone, has_alerts = season.zone, season.settings.alerts.to_file is not None
    near = {each.what for each in found}
    asked_far = [each for each in (looked.findings if looked else []) if each.what not in near]
    every = found + asked_far
    return asked.page(
        "health.html",
        groups=[(how, [each for each in every if each.how == how]) for how in (WRONG, WATCH, FINE)],
        looked_at=looked and looked.at.astimezone(zone),
        has_alerts=has_alerts,
    )


def _look(asked: Asked) -> Response:
    desk = asked.desk
    what = "A look at everything"
    return asked.work(what, ["check", "--json"], "/health/", lambda job: _keep(desk, job))


def _keep(desk: Desk, job: Job) -> int | None:
    """Keep what a look at everything found; that something is wrong is no fault of the look."""
    lines = list(job.said)
    try:
        told = json.loads("\n".join(lines[lines.index("{") :]))
        findings = [Finding(each["what"], each["how"], each["told"]) for each in told["findings"]]
    except (ValueError, KeyError, TypeError):
        return None
    desk.kept[_KEPT] = Looked(desk.clock(), findings)
    job.said.clear()
    job.said.extend(f"{each.how}: {each.what}: {each.told}" for each in findings)
    return 0


def _test_alerts(asked: Asked) -> Response:
    with asked.season() as season:
        if season.settings.alerts.to_file is None:
            raise SettingsError("Alerts are off: set to_file under [alerts] first.")
    return asked.work("A test message to those who are called", ["alert", "--test"], "/health/")


ROUTES = (
    get("/health/", _page),
    post("/health/look", _look),
    post("/health/test-alerts", _test_alerts),
)
