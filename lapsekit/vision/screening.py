"""Is a frame fit to be measured and shown?

`figures_of` (`lapsekit.vision.figures`) takes a few numbers of each frame; `judge` compares them
with what this camera usually shows. A camera under a dim roof is not dark, a bench of pale sand
is not blown out and a coarse lens is not blurred: what is amiss is what differs from the season's
own frames, at this hour where the hour matters. Only where too few frames are there to compare
with do fixed floors decide, set where a picture cannot be measured whatever the camera.

Reasons, the first that applies: *grey* (no colours, as by infrared light), *dark*, *blown out*,
*frozen* (the same picture again), *glare*, *hazed* (haze, or dew on the lens), *blurred*,
*obstructed* (somebody or something between camera and bench).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from lapsekit.vision.packing import packed, unpacked
from lapsekit.vision.quality import FIRST, ByNumbers, Limits, Seen, Verdict
from lapsekit.vision.visitors import Presence, Watched, visitors

__all__ = ["Judged", "Limits", "Memory", "Seen", "Verdict", "judge", "judge_on"]

REASONS = ("grey", "dark", "blown out", "frozen", "glare", "hazed", "blurred", "obstructed")


def judge(frames: Sequence[Seen], limits: Limits | None = None) -> list[Verdict]:
    """Judge the frames of one camera.

    Parameters
    ----------
    frames : sequence of Seen
        In order of time.
    limits : Limits, optional
        What the grower has fixed by hand.

    Returns
    -------
    list of Verdict
        One for each frame, in their order.

    Notes
    -----
    Each frame is judged by those before it, except that

    - the first few frames of a season (until `usual.ENOUGH` good ones lie before, at their hour)
      are compared with the season's first twenty, which may lie after them;
    - an *obstructed* frame becomes usable once two later frames, an hour or more after it, show
      the same: then the bench itself was changed (pots moved, plants cut). A frame that passed is
      never called obstructed by a later one, unless too few lay before it.

    The cost is linear in the number of frames: each is compared with at most eleven others.
    """
    return judge_on(frames, limits).verdicts


@dataclass(frozen=True)
class Memory:
    """What judging has learned from the frames whose verdicts are settled.

    Attributes
    ----------
    settled : int
        How many of the season's first frames no later one can change.
    good : tuple of int
        Which of these are compared with new frames, counted back from the first that is not
        settled: 1 is the last settled one.
    watched : Watched
    numbers : dict
        What is usual, and grain, as plain as JSON.
    """

    settled: int
    good: tuple[int, ...]
    watched: Watched
    numbers: dict[str, object]

    @property
    def needs(self) -> int:
        """How many of the last settled frames are asked for again."""
        return max(self.good, default=0)

    def as_plain(self) -> dict[str, object]:
        """Numbers, lists and text only, for JSON; `from_plain` takes it back."""
        variance = packed(self.watched.variance)
        watched = {"taught": self.watched.taught, "variance": variance}
        return vars(self) | {"good": list(self.good), "watched": watched}

    @classmethod
    def from_plain(cls, plain: dict) -> "Memory":
        """Memory out of what `as_plain` gave."""
        good, watched = tuple(plain["good"]), plain["watched"]
        numbered = tuple(range(len(good)))
        learned = Watched(numbered, watched["taught"], unpacked(watched["variance"]))
        return cls(plain["settled"], good, learned, plain["numbers"])


@dataclass(frozen=True)
class Judged:
    """Verdicts on all frames that were not settled before, and what it takes to go on."""

    verdicts: list[Verdict]
    memory: Memory | None


def judge_on(
    frames: Sequence[Seen], limits: Limits | None = None, memory: Memory | None = None
) -> Judged:
    """Judge frames, going on from where an earlier judging of the season stood.

    The verdicts are those that `judge` gives. Before the season's first twenty frames are there,
    nothing is settled.

    Parameters
    ----------
    frames : sequence of Seen
        In order of time. With a `memory`, the last ``memory.needs`` settled frames, then all
        that are not settled.
    limits : Limits, optional
        The same as then.
    memory : Memory, optional
        As the earlier judging gave it.

    Returns
    -------
    Judged
    """
    needs, before = (memory.needs, memory.settled) if memory else (0, 0)
    new = frames[needs:]
    judging = ByNumbers(new, limits or Limits(), memory.numbers if memory else None)
    found, states = [], []
    for seen in new:
        found.append(judging.judged(seen))
        states.append(judging.state())
    clear = [i for i, verdict in enumerate(found) if verdict.reason is None]
    places = [needs - back for back in memory.good] if memory else []
    places += [needs + i for i in clear]
    asked = [(frames[p].at, frames[p].figures.thumbnail) for p in places]
    presences, settled, watched = visitors(asked, memory.watched if memory else None)
    for i, presence in zip(clear, presences, strict=True):
        found[i] = _of_presence(presence)
    done = places[settled - 1] + 1 - needs if settled else 0
    if done <= 0 or before + len(new) < FIRST:
        return Judged(found, memory)
    good = tuple(needs + done - places[n] for n in watched.good)
    return Judged(found, Memory(before + done, good, watched, states[done - 1].as_plain()))


def _of_presence(presence: Presence) -> Verdict:
    if not presence.share:
        return Verdict(None, "", presence.watched, presence.alone)
    reason = "glare" if presence.shining else "obstructed"
    what = "a burnt-out patch lies" if presence.shining else "something stands"
    guess = "the sun's reflection?" if presence.shining else "a person, a tool?"
    told = (
        f"{reason}: {what} {presence.place}, over {presence.share:.1%} of the picture, unlike the "
        f"{presence.compared_with} frames it was compared with; {guess}"
    )
    return Verdict(reason, told, presence.watched)
