"""What a film of one panel tells by the second: its days, chapters and captions."""

from collections.abc import Sequence
from datetime import date
from itertools import groupby

from lapsekit.film.acts import Act
from lapsekit.film.planning import Plan
from lapsekit.film.scenes import Scene
from lapsekit.film.tracks import Cue, Day, chapters
from lapsekit.language.phrases import age_text
from lapsekit.language.words import Words
from lapsekit.settings import Cut


def days_in_film(cut: Cut, scenes: Sequence[Scene], plan: Plan) -> list[Day]:
    """When each day with a frame is shown."""
    found, at = [], 0
    for stretch in plan.stretches:
        if not stretch.gap:
            start, end = (n / cut.frames_per_second for n in (at, at + stretch.beats))
            found.append(Day(scenes[0].panel.day_of(stretch.day), start, end))
        at += stretch.beats
    return found


def chapters_of(words: Words, sown: date, days: list[Day], acts: Sequence[Act]) -> list[Cue]:
    """Chapters at what the diary tells; plant age is counted from `sown`."""
    if not days:
        return []
    opening = words.text("The film begins, {age}", age=age_text(words, days[0].day, sown))
    told = [
        (
            day,
            words.text(
                "{day}: {what}",
                day=words.short_day(day),
                what="; ".join(act.text for act in of_day),
            ),
        )
        for day, of_day in groupby(acts, key=lambda act: act.day)
    ]
    return chapters(days, told, opening)


def captions_of(words: Words, sown: date, days: list[Day], acts: Sequence[Act]) -> list[Cue]:
    """For each day its date, plant age and what the diary tells of it."""
    told = {
        day: [act.text for act in of_day] for day, of_day in groupby(acts, key=lambda act: act.day)
    }
    cues = []
    for each in days:
        age = age_text(words, each.day, sown)
        said = [f"{words.long_day(each.day)}, {age}", *told.get(each.day, ())]
        cues.append(Cue(each.start_s, each.end_s, "; ".join(said)))
    return cues
