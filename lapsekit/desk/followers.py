"""Followers' pictures on the desk: what waits, and what the grower decides of each."""

from dataclasses import dataclass
from datetime import date

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.desk import pictures, plants
from lapsekit.desk.asking import Asked, get, post
from lapsekit.errors import FollowerError, SettingsError
from lapsekit.followers import deciding, records
from lapsekit.followers.areas import Areas
from lapsekit.followers.arrivals import LONGEST
from lapsekit.followers.gone import gone_ids
from lapsekit.followers.making import as_shown, sound
from lapsekit.followers.originals import erase_originals
from lapsekit.followers.records import STATES, Box, Record
from lapsekit.followers.showing import is_on_site
from lapsekit.season import Season

TITLES = {"waiting": "Waiting", "shown": "Shown", "declined": "Declined"}
_A_PAGE = 48


@dataclass(frozen=True)
class Ours:
    """The grower's plant at the age of a follower's, or within a few days of it."""

    title: str
    day: date
    age_days: int
    picture: str
    width: int
    height: int


def _list(asked: Asked, refusal: str = "") -> Response:
    state = asked.query.get("state", "waiting")
    if state not in STATES:
        raise HTTPException(404)
    with asked.season() as season:
        found = records.records(season)
        reasons = {r.id: deciding.cannot_be_shown(season, r) for r in found if r.state == state}
        damaged = records.damaged(season)
        ways, zone = season.settings.followers, season.zone
        site = _site(season)
    counts = {each: sum(r.state == each for r in found) for each in STATES}
    mine = [record for record in found if record.state == state]
    if state != "waiting":
        mine.reverse()
    number = max(1, int(page) if (page := asked.query.get("page", "1")).isdecimal() else 1)
    first = (number - 1) * _A_PAGE
    return asked.page(
        "followers.html",
        state=state,
        titles=TITLES,
        counts=counts,
        records=mine[first : first + _A_PAGE],
        number=number,
        is_last=first + _A_PAGE >= len(mine),
        reasons=reasons,
        damaged=damaged,
        refusal=refusal,
        **site,
        code=asked.text("code"),
        zone=zone,
        takes_pictures=bool(ways.mail or ways.upload or ways.inbox),
        looks=bool(ways.mail or ways.inbox or ways.answers),
        inbox=ways.inbox,
    )


def _one(asked: Asked) -> Response:
    with asked.season() as season:
        record = records.read_record(season, asked.named["id"])
        waiting = [each.id for each in records.records(season, "waiting")]
        return asked.page(
            "follower.html",
            record=record,
            zone=season.zone,
            reason=deciding.cannot_be_shown(season, record),
            seen=deciding.mark_of(record),
            ours=_ours(season, record),
            regions=[(r.name, r.title) for r in season.regions.region],
            longest=LONGEST,
            near=_known(season, record.near),
            following=_after(waiting, record.id),
            title=record.name or "Without a name",
            **_site(season),
        )


def _site(season: Season) -> dict[str, bool]:
    """Whether there is a site that does not show what was decided, and whether it goes out."""
    has_site = (season.site / "index.html").is_file()
    return {
        "is_behind": has_site and not is_on_site(season),
        "is_published": season.settings.publish.to is not None,
    }


def _known(season: Season, ids: tuple[str, ...]) -> list[Record]:
    there = {record.id: record for record in records.records(season)}
    return [there[each] for each in ids if each in there]


def _after(waiting: list[str], record_id: str) -> str | None:
    """The next that waits."""
    rest = [each for each in waiting if each != record_id]
    if record_id in waiting:
        later = waiting[waiting.index(record_id) + 1 :]
        return later[0] if later else next(iter(rest), None)
    return next(iter(rest), None)


def _ours(season: Season, record: Record) -> Ours | None:
    """The grower's plant of that region when it was as old, or nearly; None without one."""
    region = season.regions.by_name.get(record.region)
    if region is None or record.age_days is None:
        return None
    day = plants.day_at_age(season, region, record.age_days)
    size = day and plants.size_of(season, region, day)
    if size is None:
        return None
    age_days = (day - season.sown(region)).days
    return Ours(region.title, day, age_days, plants.address(region.name, day), *size)


def _picture(asked: Asked) -> Response:
    """The kept picture, or as it is (or would be) shown; small or whole."""
    side = pictures.asked_side(asked)
    with asked.season() as season:
        try:
            record = records.read_record(season, asked.named["id"])
            data = records.read_picture(season, record.id)
        except FollowerError as error:
            raise HTTPException(404) from error
    if asked.query.get("as") == "shown":
        data = as_shown(record, data)
    with sound(record.id):
        shown = pictures.small(data, side)
    return Response(shown, media_type="image/jpeg")


def _back(record: Record) -> str:
    return f"/followers/{record.id}"


def _show(asked: Asked) -> Response:
    with asked.season() as season:
        record = deciding.show(season, asked.named["id"], asked.text("seen"), _areas(asked))
        return asked.note(
            f"{_named(record)} will be on the site that is built next.", _next(season, record)
        )


def _decline(asked: Asked) -> Response:
    with asked.season() as season:
        record = deciding.decline(season, asked.named["id"])
        days = season.settings.followers.keep_declined_days
        return asked.note(
            f"{_named(record)} was declined, and is deleted in {days} days.",
            _next(season, record),
        )


def _next(season: Season, record: Record) -> str:
    """After a decision: the next that waits, or the list."""
    waiting = [each.id for each in records.records(season, "waiting")]
    following = _after(waiting, record.id)
    return f"/followers/{following}" if following else "/followers/"


def _named(record: Record) -> str:
    return f"{record.name}'s picture" if record.name else "The picture without a name"


def _wait(asked: Asked) -> Response:
    with asked.season() as season:
        record = deciding.back_to_waiting(season, asked.named["id"])
    return asked.note(f"{_named(record)} waits again; the next site is without it.", _back(record))


def _ask(asked: Asked) -> Response:
    with asked.season() as season:
        record = deciding.ask_again(season, asked.named["id"], asked.text("what"))
    told = "Noted; the letter is written when mail is looked through next, and stands below then."
    if not record.contact:
        told = "Noted; no letter is written, since no mail address was told."
    return asked.note(told, _back(record))


def _sent(asked: Asked) -> Response:
    number = asked.named["number"]
    if not (number.isascii() and number.isdecimal() and len(number) < 5):
        raise HTTPException(404)
    with asked.season() as season:
        record = deciding.answer_sent(season, asked.named["id"], int(number))
    return asked.note("Noted as sent; its code is struck out here.", _back(record))


def _boxes(told: str) -> list[Box]:
    """Boxes told as ``left top right bottom``, one a line."""
    found = []
    for line in told.splitlines():
        if line.strip():
            numbers = line.split()
            if len(numbers) != 4 or not all(each.isdecimal() for each in numbers):
                raise SettingsError(f'area "{line[:60]}": write left top right bottom, whole px')
            found.append(tuple(map(int, numbers)))
    return found


def _areas(asked: Asked) -> Areas | None:
    """What is drawn on the picture, kept or not; None from a form that tells nothing of it."""
    if not {"crop", "blurred"} <= asked.form.keys():
        return None
    part = _boxes(asked.text("crop"))
    return Areas(part[0] if part else None, _boxes(asked.text("blurred")))


def _keep_areas(asked: Asked) -> Response:
    areas = _areas(asked)
    if areas is None:
        raise SettingsError("No part and no areas were told: open the page again.")
    with asked.season() as season:
        record = deciding.keep_areas(season, asked.named["id"], areas, asked.text("seen"))
    number = len(areas.blurred)
    part = "Only that part is shown" if areas.crop else "The whole picture is shown"
    told = f"{'1 area is' if number == 1 else f'{number} areas are'} made unrecognisable"
    return asked.note(f"{part}; {told}." if number else f"{part}.", _back(record))


def _correct(asked: Asked) -> Response:
    told = {name: asked.text(name) for name in ("name", "caption", "plant", "region")}
    days = {name: asked.day(name) if asked.text(name) else "" for name in ("sown", "taken_on")}
    with asked.season() as season:
        record = deciding.correct(season, asked.named["id"], **told, **days)
    return asked.note("Corrected.", _back(record))


def _take_down(asked: Asked) -> Response:
    if asked.text("sure") != "yes":
        raise SettingsError("tick that it is to be deleted for good; that cannot be undone")
    with asked.season() as season:
        deciding.take_down_by_id(season, asked.named["id"])
        left = _left(season)
    return asked.note(
        "The picture is deleted here. The site still shows it until it is built and "
        f"published.{left}",
        "/followers/",
    )


def _left(season: Season) -> str:
    """What the grower has to delete by hand, in sentences."""
    gone = gone_ids(season.folder)
    return "".join(f" {told}." for told in erase_originals(season, gone))


def _by_code(asked: Asked) -> Response:
    with asked.season() as season:
        found = deciding.take_down(season, asked.text("code"))
        left = _left(season)
    if found is None:
        return _list(asked, "No picture has that code; look whether a letter is missing.")
    return asked.note(
        "The picture of that code is deleted here. The site still shows it until it is built and "
        f"published.{left}",
        "/followers/",
    )


def _look(asked: Asked) -> Response:
    return asked.work("Looking for pictures", ["followers", "take-in"], "/followers/")


ROUTES = (
    get("/followers/", _list),
    post("/followers/look", _look),
    post("/followers/take-down", _by_code),
    get("/followers/{id}", _one),
    get("/followers/{id}/picture", _picture),
    post("/followers/{id}/show", _show),
    post("/followers/{id}/decline", _decline),
    post("/followers/{id}/wait", _wait),
    post("/followers/{id}/ask", _ask),
    post("/followers/{id}/answers/{number}/sent", _sent),
    post("/followers/{id}/areas", _keep_areas),
    post("/followers/{id}/correct", _correct),
    post("/followers/{id}/take-down", _take_down),
)
