"""Register a frame to the season's reference view, from what does not grow."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from lapsekit.vision.evening import evened, log_luma
from lapsekit.vision.homographies import (
    apart_px,
    nearest_similarity,
    project,
    resized,
    settled,
    similarity,
)
from lapsekit.vision.markers import Tag
from lapsekit.vision.patches import Patches
from lapsekit.vision.pictures import reduced
from lapsekit.vision.searching import Searcher
from lapsekit.vision.voting import Vote, agree

_PATCHES = 400
_LEVELS = ((4, 150, 6), (2, 150, 4))
"""Coarse levels: how much smaller, how many patches, how many rounds."""
_ROUNDS = 8
_FOUND_AT_LEAST, _BEYOND_DOUBT = 0.1, 0.15
"""Wrongly placed, a picture finds up to 7 % of a bench's pattern in what merely looks like it;
twice as much is no chance. Between the two bounds every start is tried and the best one taken."""
_CLOSE_PX = 2.0
"""How far from its guess a movement may end that was looked for only there."""
_SEEN_AT_ONCE = 0.25
"""Share of patches that must be found where such a guess puts them: half are, where it is right."""
_PATCHES_AT_LEAST = 12
_ERROR_AT_MOST_PX = 0.6


@dataclass(frozen=True)
class Registration:
    """Where the season's reference view lies in a frame.

    Attributes
    ----------
    matrix : ndarray of float64, shape (3, 3)
        Homography from pixels of the reference view to pixels of the frame (the centre of the
        top left one at (0, 0)); it puts corners on whole hundredths of a pixel.
    residual_px : float
        Typical distance of a matched patch from where the matrix puts it.
    error_px : float
        Standard error of the matrix at the worst corner of the picture, links included.
    inliers : int
        Patches that agree with the matrix.
    share : float
        What they show, as a share of what all patches that could be compared would show, 0 to 1,
        in the direction of movement in which it is least.
    numbers : int
        4, 6 or 8: how many numbers the movement needed (a shift with turn and zoom, the
        perspective of a turned camera, a whole homography).
    method : {"near", "tag", "search"}
        What gave the start: the guess or the reference view itself, a tag, or a search.
    tag_off_px : float or None
        How far the tags lie from where the matrix puts them; much, if someone moved a tag.
    """

    matrix: np.ndarray
    residual_px: float
    error_px: float
    inliers: int
    share: float
    numbers: int
    method: str
    tag_off_px: float | None = None


@dataclass(frozen=True)
class NotRegistered:
    """A frame that could not be registered, and why, for the grower to read."""

    reason: str
    share: float = 0.0


class Reference:
    """The reference view, prepared once for many frames.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)
        Best a sharp frame from the middle of a dull day, whose light comes from all sides.
        About 1000 px wide; frames must have the same size.
    usable : ndarray of bool, shape (height, width), optional
        What does not grow. Leave out canopy, and little else: pots and soil help, and where too
        few patches are left the movement is known poorly.
    tags : sequence of Tag
        Tags in this picture.
    from_season : Registration, optional
        Where the season's reference view lies in this picture, if this is not that view itself:
        a link in a chain, for views that have little in common any more.
    """

    def __init__(
        self,
        luma: np.ndarray,
        usable: np.ndarray | None = None,
        tags: Sequence[Tag] = (),
        from_season: Registration | None = None,
    ):
        self.shape = luma.shape
        usable = np.ones(luma.shape, bool) if usable is None else usable
        view = _View(luma)
        self.fine = Patches(view.fine, usable, _PATCHES)
        self.coarse = tuple(
            Patches(view.smaller(by), _smaller_mask(usable, by), most) for by, most, _ in _LEVELS
        )
        self.searcher = Searcher(luma, usable)
        self.tags = {tag.number: tag for tag in tags}
        self.from_season = from_season


class _View:
    """A frame at the sizes that are looked at, each made when first asked for."""

    def __init__(self, luma: np.ndarray):
        self.log = log_luma(luma)
        self._made: dict[int, np.ndarray] = {}

    @property
    def fine(self) -> np.ndarray:
        return self.smaller(1)

    def smaller(self, by: int) -> np.ndarray:
        if by not in self._made:
            self._made[by] = evened(reduced(self.log, by) if by > 1 else self.log)
        return self._made[by]


def register(
    luma: np.ndarray,
    reference: Reference,
    *,
    usable: np.ndarray | None = None,
    guess: np.ndarray | None = None,
    stand: Callable[[], np.ndarray | None] | None = None,
    tags: Sequence[Tag] = (),
) -> Registration | NotRegistered:
    """Find the reference view in a frame.

    The light's own movement is kept out as `evening` and `voting` tell. Starts are tried in
    order: the guess and the reference view as it is, tags, then a search for features.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)
        The frame, of the reference's size.
    reference : Reference
    usable : ndarray of bool, shape (height, width), optional
        What may be used of the frame: not the plants.
    guess : ndarray, shape (3, 3), optional
        Matrix of a frame taken shortly before. It only gives a start; the result does not
        depend on it.
    stand : callable, optional
        Asked, when the view is not near where it was, for the matrix of a frame of the same day:
        where the camera stands since it was knocked. It saves the search for features.
    tags : sequence of Tag
        Tags in this frame.

    Returns
    -------
    Registration or NotRegistered
    """
    if luma.shape != reference.shape:
        return NotRegistered(
            f"the picture has {luma.shape[1]} x {luma.shape[0]} px, the reference view "
            f"{reference.shape[1]} x {reference.shape[0]}"
        )
    if len(reference.fine) < _PATCHES_AT_LEAST:
        return NotRegistered("the reference view shows too little that stays as it is")
    view = _View(luma)
    back = np.linalg.inv(_link(reference))
    own_guess = None if guess is None else guess @ back

    def own_stand() -> np.ndarray | None:
        moved = stand() if stand else None
        return None if moved is None else moved @ back

    best, how = NotRegistered("none of the surroundings could be matched"), ""
    for method, start, close in _starts(luma, reference, usable, own_guess, own_stand, tags):
        found = _from_start(view, reference, start, usable, close)
        if _better(found, best):
            best, how = found, method
        if isinstance(found, Vote) and found.share >= _BEYOND_DOUBT:
            break
    return best if isinstance(best, NotRegistered) else _told(best, how, reference, tags)


def _better(found: Vote | NotRegistered, best: Vote | NotRegistered) -> bool:
    if isinstance(found, Vote) != isinstance(best, Vote):
        return isinstance(found, Vote)
    return found.share > best.share


def _link(reference: Reference) -> np.ndarray:
    return np.eye(3) if reference.from_season is None else reference.from_season.matrix


def _starts(luma, reference, usable, guess, stand, tags) -> Iterator[tuple[str, np.ndarray, bool]]:
    """Movements to start from, each tried only if those before it failed; whether it is close."""
    for start in (guess, np.eye(3)):
        if start is not None:
            yield "near", start, True
            yield "near", start, False
    moved = stand()
    if moved is not None:
        yield "near", moved, True
    from_tags = _movement_of_tags(reference.tags, tags)
    if from_tags is not None:
        yield "tag", from_tags, False
    for found in reference.searcher.movements(luma, usable):
        yield "search", found, False


def _movement_of_tags(before: dict[int, Tag], now: Sequence[Tag]):
    """The similarity from the reference's tags to the same tags in the frame, if any."""
    pairs = [(before[tag.number], tag) for tag in now if tag.number in before]
    if not pairs:
        return None
    corners = [np.concatenate([pair[k].corners_px for pair in pairs]) for k in (0, 1)]
    return similarity(*corners)


def _smaller_mask(mask, by):
    return reduced(mask.astype(np.float32), by) > 0.99


def _from_start(view, reference, start, usable, close) -> Vote | NotRegistered:
    """From a start to the final movement, from simple to general; coarse to fine unless close."""
    guess, start = start, nearest_similarity(start, reference.shape)
    for (by, _, rounds), patches in zip(_LEVELS, reference.coarse, strict=True):
        if close:
            break
        free = None if usable is None else _smaller_mask(usable, by)
        vote = agree(patches, view.smaller(by), resized(start, 1 / by), rounds, free)
        if vote is None or vote.share < _FOUND_AT_LEAST:
            return _refusal(vote.share if vote else 0.0)
        start = resized(vote.matrix, by)
    least = _SEEN_AT_ONCE if close else 0.0
    vote = agree(reference.fine, view.fine, start, _ROUNDS, usable, most=8, least=least)
    if vote is None or vote.share < _FOUND_AT_LEAST or vote.agree < _PATCHES_AT_LEAST:
        return _refusal(vote.share if vote else 0.0)
    if close and apart_px(vote.matrix, guess, reference.shape) > _CLOSE_PX:
        return _refusal(0.0)
    if vote.error_px > _ERROR_AT_MOST_PX:
        return NotRegistered(
            f"the surroundings are seen too poorly: its place is known to {vote.error_px:.1f} px "
            "only",
            vote.share,
        )
    return vote


def _refusal(share: float) -> NotRegistered:
    return NotRegistered(f"only {share:.0%} of the surroundings could be matched", share)


def _told(vote: Vote, method: str, reference: Reference, tags) -> Registration:
    link = reference.from_season
    known = [(reference.tags[t.number], t) for t in tags if t.number in reference.tags]
    off = [np.hypot(*(project(vote.matrix, a.corners_px) - b.corners_px).mean(0)) for a, b in known]
    return Registration(
        settled(vote.matrix @ _link(reference), reference.shape),
        residual_px=vote.residual_px,
        error_px=float(np.hypot(vote.error_px, link.error_px if link else 0.0)),
        inliers=vote.agree,
        share=vote.share,
        numbers=vote.numbers,
        method=method,
        tag_off_px=float(max(off)) if off else None,
    )
