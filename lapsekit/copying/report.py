"""What a copy did."""

from dataclasses import dataclass, field


@dataclass
class CopyReport:
    """What was copied where.

    Attributes
    ----------
    place : str
    frames, texts, size : int
        Frames and texts that came to be there and are verified; bytes that were sent for it.
    there : int
        Frames of copied.csv in all; all were found there by name and size.
    checked : int
        Frames whose content was compared again.
    waiting : int
        Frames that are not copied yet, in a dry run.
    kept : list of str
        Earlier versions of what was replaced, as they are called at the far side.
    repaired : list of str
        Files that were damaged or missing there, and were sent again.
    damaged_here : list of str
        Frames that are no longer what they were when they were taken or copied; not sent.
    lost : list of str
        Frames that are gone here, and damaged or missing there.
    erased : list of str
        Followers' pictures that were deleted there, since they were deleted here.
    failed : list of str
        Attempts that failed before one that went well.
    caution : str
    """

    place: str
    frames: int = 0
    texts: int = 0
    size: int = 0
    there: int = 0
    checked: int = 0
    waiting: int = 0
    kept: list[str] = field(default_factory=list)
    repaired: list[str] = field(default_factory=list)
    damaged_here: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    erased: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    caution: str = ""

    @property
    def is_sound(self) -> bool:
        """Whether every frame is whole on at least one side that was looked at."""
        return not self.damaged_here and not self.lost
