"""Where on a film's picture something may stand, and how large letters are. Pure."""

from dataclasses import dataclass

Box = tuple[int, int, int, int]

#: Shares of the picture that stay free at the top, bottom and sides: programs that show upright
#: films lay their buttons and words there; televisions may cut off the edge of others.
_FREE = {"upright": (0.12, 0.20, 0.06)}
_FREE_ELSEWHERE = (0.05, 0.05, 0.05)
#: Height of the smallest letters, in hundredths of the picture's short side.
SMALLEST = 2.7


@dataclass(frozen=True)
class Room:
    """A film's picture as its slips see it.

    Parameters
    ----------
    size : (int, int)
        Width and height in px.
    shape : str
        ``wide``, ``square``, ``upright`` or ``picture``.
    """

    size: tuple[int, int]
    shape: str

    @property
    def safe(self) -> Box:
        """Left, top, right and bottom of what text keeps to, in px."""
        width, height = self.size
        above, below, beside = _FREE.get(self.shape, _FREE_ELSEWHERE)
        side = round(width * beside)
        return side, round(height * above), width - side, height - round(height * below)

    def px(self, units: float) -> int:
        """A length given in hundredths of the short side, in px."""
        return max(1, round(units * min(self.size) / 100))

    @property
    def width(self) -> int:
        """Of what text keeps to, in px."""
        left, _, right, _ = self.safe
        return right - left


def meet(one: Box, other: Box) -> bool:
    """Whether two boxes share a px."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def within(box: Box, outer: Box) -> bool:
    """Whether a box lies wholly in another."""
    return box[0] >= outer[0] and box[1] >= outer[1] and box[2] <= outer[2] and box[3] <= outer[3]
