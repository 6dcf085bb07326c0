"""What the page is told that says what stands here, how it is measured, and how sure that is."""

from collections import Counter
from dataclasses import dataclass
from datetime import date
from statistics import median

from lapsekit.language.phrases import reason_text
from lapsekit.language.words import Words
from lapsekit.site import views
from lapsekit.site.contents import Page, Whole
from lapsekit.site.errata import errata
from lapsekit.site.wording import in_unit

PATH = "about/index.html"
#: Below, a few leaves are measured, and their edges are most of the interval.
GROWN_CM2 = 20
_OTHERWISE = frozenset({"files", "watched"})


@dataclass(frozen=True)
class Sureness:
    """Numbers of this season that say how sure its values are.

    Attributes
    ----------
    values, without : int
        Plants' days that have a value, and those between a plant's first and last that have none.
    width, width_grown : float or None
        Median width of the 95 % intervals, in % of the value: of all, and of plants of at least
        `GROWN_CM2`.
    """

    values: int
    without: int
    width: float | None
    width_grown: float | None


def about_page(whole: Whole) -> Page:
    """The page; whatever it says of methods is what this season's settings are."""
    almanac, settings = whole.almanac, whole.season.settings
    capture, cameras = settings.capture, settings.cameras.values()
    kinds = [camera.kind for camera in cameras]
    is_scheduled = capture.every_minutes and not _OTHERWISE.issuperset(kinds)
    span: tuple[date, date] | None = (almanac.days[0], almanac.days[-1]) if almanac.days else None
    counts = views.frame_counts(almanac)
    facts = {
        "about": almanac.about,
        "span": span,
        "counts": counts,
        "reasons": reasons(almanac.words, [frames.left_out for _, frames, _ in counts]),
        "regions": [row.title for row in almanac.rows],
        "plants": len(almanac.plants),
        "method": method_text(almanac.words, settings.canopy.method, settings.canopy.model_file),
        "captured": is_scheduled and (capture.first, capture.last),
        "every_minutes": capture.every_minutes,
        "otherwise": otherwise(almanac.words, kinds),
        "daily_at": capture.daily_at,
        "scaled": [camera.scale.is_known for camera in cameras],
        "tagged": any(camera.scale.needs_tag for camera in cameras),
        "lens": any(camera.lens is not None for camera in cameras),
        "carded": any(camera.grey_card is not None for camera in cameras),
        "private": any(camera.privacy for camera in cameras),
        "registered": settings.registration.use,
        "height_corrected": settings.canopy.correct_height,
        "sure": sureness(whole),
        "grown_cm2": GROWN_CM2,
        "errata": errata(almanac),
    }
    return Page(PATH, "about.html", facts)


def otherwise(words: Words, kinds: list[str]) -> list[str]:
    """How pictures come that no schedule takes, by the kinds of all cameras; whole sentences."""
    told = []
    if n := kinds.count("files"):
        every = words.text("All pictures are brought in by hand.")
        some = words.counted(
            "The pictures of one camera are brought in by hand.",
            "The pictures of {n} cameras are brought in by hand.",
            n,
        )
        told.append(every if n == len(kinds) else some)
    if n := kinds.count("watched"):
        every = words.text("All pictures come from a folder, as they are put there.")
        some = words.counted(
            "The pictures of one camera come from a folder, as they are put there.",
            "The pictures of {n} cameras come from a folder, as they are put there.",
            n,
        )
        told.append(every if n == len(kinds) else some)
    return told


def reasons(words: Words, left_out: list[Counter[str]]) -> list[tuple[str, list[int]]]:
    """Each reason that kept frames out, the most frequent first, with a count for each camera."""
    every = sum(left_out, Counter())
    order = sorted(every, key=lambda reason: (-every[reason], reason))
    return [(reason_text(words, reason), [each[reason] for each in left_out]) for reason in order]


def sureness(whole: Whole) -> Sureness:
    """How wide the season's intervals are, and how many days have no value."""
    almanac, known, open_days, widths, grown = whole.almanac, 0, 0, [], []
    for region in almanac.regions:
        unit, days = almanac.unit(region), almanac.values.get(region.name, {})
        found = {day: in_unit(row, unit) for day, row in days.items()}
        measured = [day for day, three in found.items() if three[1] is not None]
        known += len(measured)
        if measured:
            open_days += (max(measured) - min(measured)).days + 1 - len(measured)
        for low, value, high in found.values():
            if value and low is not None and high is not None:
                widths.append(100 * (high - low) / value)
                if unit == "cm²" and value >= GROWN_CM2:
                    grown.append(widths[-1])
    return Sureness(known, open_days, *(round(median(w)) if w else None for w in (widths, grown)))


def method_text(words: Words, method: str, model_file: str | None) -> str:
    """By what each point is taken for leaf, as a whole sentence."""
    if method == "model" and model_file:
        return words.text(
            "A small model that was trained for this bench tells leaf from the rest by colour."
        )
    return {
        "model": words.text(
            "A small model that has learned the colours of leaves, soil and pots tells them apart; "
            "it comes with the program."
        ),
        "exg": words.text("Leaf is where green outweighs red and blue (excess green index, ExG)."),
        "exgr": words.text(
            "Leaf is where excess green is larger than excess red (index ExG − ExR)."
        ),
        "cive": words.text("Leaf is told by the colour index of vegetation extraction (CIVE)."),
        "veg": words.text("Leaf is told by the vegetative index (VEG), green over red and blue."),
        "com": words.text("Leaf is told by a combination of four colour indices (COM)."),
        "mexg": words.text("Leaf is told by the modified excess green index (MExG)."),
        "gli": words.text("Leaf is told by the green leaf index (GLI)."),
        "vari": words.text("Leaf is told by the visible atmospherically resistant index (VARI)."),
        "ndi": words.text("Leaf is told by the normalized difference of green and red (NDI)."),
        "ngrdi": words.text("Leaf is told by the normalized green-red difference index (NGRDI)."),
        "lab_a": words.text("Leaf is told by how green a colour is on the a* axis of CIE L*a*b*."),
    }[method]
