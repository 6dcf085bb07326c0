"""Numbers of things, as sentences of the command line and the desk say them."""


def counted(number: int, word: str) -> str:
    """``1 frame``, ``2 frames``."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
