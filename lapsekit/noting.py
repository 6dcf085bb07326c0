"""Stage: what the grower says was done or seen -> a line of the diary, checked first."""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from lapsekit.day_texts import nearest_day, not_a_day, read_day
from lapsekit.diary import HEIGHT, VOCABULARY, Event, diary_text, read_diary
from lapsekit.diary_lines import not_there, with_events
from lapsekit.errors import SettingsError
from lapsekit.happened import latest_day, no_region, not_come, of_no_region, to_come
from lapsekit.lengths import HOW_TO, centimetres
from lapsekit.locks import writing
from lapsekit.season import DIARY_FILE, REGIONS_FILE, SETTINGS_FILE, Season
from lapsekit.texts import rewrite

#: Days before the first sowing that a diary may speak of: soil is prepared, seeds are soaked.
_DAYS_BEFORE = 366
#: From so many on it is asked whether the year is right.
_DAYS_OF_MAKING_READY = 90
_LONGEST = 200


@dataclass(frozen=True)
class Figures:
    """What is told with an event: each goes into the note. None is not told."""

    bbch: int | None = None
    weight_g: float | None = None
    height_cm: float | None = None

    @property
    def text(self) -> str:
        """As the note says it."""
        height = None if self.height_cm is None else f"{round(self.height_cm, 2):g} cm"
        weight = None if self.weight_g is None else f"{round(self.weight_g, 2):g} g"
        bbch = None if self.bbch is None else f"BBCH {self.bbch:02d}"
        return ", ".join(filter(None, (height, weight, bbch)))


@dataclass(frozen=True)
class Diary:
    """The diary as it is listed: events in order of day, and what is wrong with some lines.

    Lines of `passed_over` count for nothing; those of `of_no_region` and of days `to_come` are
    events, but told nowhere as what happened; of those of `unclear` a weight, height or growth
    stage counts for nothing, or a sowing is to be asked about.
    """

    events: list[Event]
    passed_over: list[str]
    of_no_region: list[str]
    to_come: list[str]
    unclear: list[str]

    @property
    def problems(self) -> list[str]:
        """What is wrong, of any kind."""
        return [*self.passed_over, *self.of_no_region, *self.to_come, *self.unclear]


def add_events(
    season: Season, day: str, what: str, regions: Sequence[str], note: str, figures: Figures
) -> tuple[list[Event], list[str]]:
    """Add an event to the diary, a line for each region, or one for the whole bench.

    Parameters
    ----------
    season : Season
        An open season.
    day : str
        Like ``2031-04-17``; neither in the future nor long before the first sowing.
    what : str
        A word of `VOCABULARY`, or any other text.
    regions : sequence of str
        Names of regions.toml, or of its groups, whose regions get an event each; none for the
        whole bench.
    note : str
    figures : Figures

    Returns
    -------
    events : list of Event
        Those that were added: all but what stood there already.
    hints : list of str
        Where an event's own word lies close to one of the vocabulary, a weight or growth stage is
        not understood, the day lies long before sowing, a sowing on another day than ages count
        from, or an event stood there already.

    Raises
    ------
    SettingsError
        If a value cannot be used, and names the nearest that can; or if lines say all of it.
    SeasonBusy
        If another process holds the season's texts for ten seconds.
    """
    events, hints = checked_events(season, day, what, regions, note, figures)
    path = season.folder / DIARY_FILE
    with writing(season.folder, "diary"):
        new, there = not_there(path, diary_text(path), events)
        rewrite(path, lambda text: with_events(path, text, new))
    return new, [*hints, *there]


def checked_events(
    season: Season,
    day: str,
    what: str,
    regions: Sequence[str],
    note: str,
    figures: Figures,
    was: date | None = None,
) -> tuple[list[Event], list[str]]:
    """The events and hints of `add_events`, whatever stands in the diary; writes nothing.

    `was` is the day of the line that they are to replace. It may stay though it has not come, for
    a hand may have written it as a plan; a hint says so.
    """
    what = _event_text(what)
    on = was if was and day.strip() == was.isoformat() else _day(season, day)
    regions = [*dict.fromkeys(n for given in regions for n in _regions_of(season, given))]
    note = _note(what, regions, note, figures)
    events = [Event(on, region, what, note) for region in regions or [""]]
    hints = [*_hints(what), *_unclear(events[0]), *_out_of_season(season, events[0])]
    if late := not_come(season, on):
        hints.append(f"{on} {late}: it is told nowhere before; is it right?")
    return events, [*hints, *(hint for event in events for hint in _sown_otherwise(season, event))]


def _out_of_season(season: Season, event: Event) -> list[str]:
    """Whether an event comes long before its plants were sown, which a wrong year makes of it."""
    region = season.regions.by_name.get(event.region)
    sown = season.sown(region) if region else season.settings.season.sown
    early = (sown - event.day).days
    if early <= _DAYS_OF_MAKING_READY:
        return []
    return [f"{event.day} is {early} days before sowing ({sown}); is the year right?"]


def _sown_otherwise(season: Season, event: Event) -> list[str]:
    """Whether a sowing is told on another day than the one from which its plants' age counts."""
    if event.what.lower() != "sown":
        return []
    region = season.regions.by_name.get(event.region)
    if event.region and region is None:
        return []
    regions = [region] if region else season.regions.region
    counted = {season.sown(each) for each in regions} or {season.settings.season.sown}
    if event.day in counted:
        return []
    days = " and ".join(f"{day}" for day in sorted(counted))
    whose = f"the age of {region.name}" if region else "the age of plants"
    file = f"{REGIONS_FILE}, at that region" if region else SETTINGS_FILE
    return [
        f"sown on {event.day}, but {whose} counts from {days}; if the diary is right, write "
        f"sown = {event.day} into {file}"
    ]


def _unclear(event: Event) -> list[str]:
    found = []
    if event.has_unclear_weight:
        found.append(
            f'the weight in "{event.note}" can be read in more than one way, and counts for '
            "nothing; write it like 1250 g or 1.25 kg, or give --weight 1250"
        )
    if event.has_unclear_stage:
        found.append(
            f'"{event.note or event.what}" tells no growth stage, and counts for none; they run '
            "from 00 to 99: write BBCH 61 into the note, or give --bbch 61"
        )
    if event.has_unclear_height:
        found.append(f'the height "{event.note}" tells no length in one way; {HOW_TO}')
    return found


def _regions_of(season: Season, given: str) -> list[str]:
    """A region, or those of a group."""
    if given in season.regions.by_name:
        return [given]
    members = [r.name for r in season.regions.region if r.group == given]
    if not members:
        raise SettingsError(f'--region "{given}" {no_region(season, given)}')
    return members


def list_events(
    season: Season,
    region: str | None = None,
    first: date | None = None,
    last: date | None = None,
) -> Diary:
    """The diary's events, of one region (with those of the whole bench) or of all.

    Raises
    ------
    SettingsError
        If `region` is none of regions.toml, or the file is not text.
    """
    if region is not None and region not in season.regions.by_name:
        raise SettingsError(f'--region "{region}" {no_region(season, region)}')
    path = season.folder / DIARY_FILE
    events, passed_over = read_diary(path)
    kept = [
        e
        for e in events
        if region in (None, e.region) or not e.region
        if (first or date.min) <= e.day <= (last or date.max)
    ]
    hints = {e.line: [*_unclear(e), *_sown_otherwise(season, e)] for e in events}
    unclear = [f"{path}: line {line}, {hint}" for line, told in hints.items() for hint in told]
    kinds = (of_no_region, to_come)
    return Diary(
        kept, passed_over, *([*of(season, path, events).values()] for of in kinds), unclear
    )


def _day(season: Season, text: str) -> date:
    first = min([season.settings.season.sown, *(season.sown(r) for r in season.regions.region)])
    earliest = first - timedelta(days=_DAYS_BEFORE)
    day = read_day(text)
    latest = latest_day(season, day or date.min)
    begin = min(first, latest)
    if day is None:
        raise SettingsError(f'date "{text}" {not_a_day(text, begin, latest)}')
    if day > latest:
        why = f"{not_come(season, day)}; a diary tells what was done and seen"
    elif day < earliest:
        why = f"is more than a year before the first sowing ({first})"
    else:
        return day
    near = nearest_day(text, begin, latest)
    raise SettingsError(f'date "{text}" {why}' + (f"; did you mean {near}?" if near else ""))


def _event_text(what: str) -> str:
    what = " ".join(what.split())
    if not what or len(what) > _LONGEST or what.startswith("#"):
        raise SettingsError(
            f'event "{what}": write what was done or seen, in at most {_LONGEST} letters; words '
            f"that all know: {', '.join(VOCABULARY)}"
        )
    return what.lower() if what.lower() in VOCABULARY else what


def _note(what: str, regions: Sequence[str], note: str, figures: Figures) -> str:
    if figures.bbch is not None and not 0 <= figures.bbch <= 99:
        raise SettingsError(f"--bbch {figures.bbch}: growth stages run from 00 to 99")
    for option, value in (("--weight", figures.weight_g), ("--height", figures.height_cm)):
        if value is not None and not 0 < value < 1e5:
            raise SettingsError(f"{option} {value:g}: give a number above 0")
    if figures.weight_g is not None and what != "harvest":
        raise SettingsError(f'--weight belongs to a harvest, not to "{what}"')
    if figures.height_cm is not None and what != HEIGHT:
        raise SettingsError(f'--height belongs to the event height, not to "{what}"')
    told = " ".join(note.split())
    if what == HEIGHT and not (regions and (figures.height_cm or told)):
        raise SettingsError(
            "a height is that of one region's plants, in centimetres: lapsekit diary add DATE "
            "height --region NAME --height 12"
        )
    noted = "; ".join(filter(None, (figures.text, told)))
    if what == HEIGHT and centimetres(noted) is None:
        raise SettingsError(
            f'note "{noted}" of a height tells no length in one way; {HOW_TO}, or give --height 12'
        )
    return noted


def _hints(what: str) -> list[str]:
    if what in VOCABULARY:
        return []
    near = difflib.get_close_matches(what.lower(), VOCABULARY, n=1, cutoff=0.75)
    return [f'"{what}" is a word of your own; others write "{near[0]}"'] if near else []
