"""A value of season.toml set or taken out; every other line stays as it is (pure).

A key that the annotated example shows as a comment gets its line right below that comment, which
stays: it says what the default is. A table that is missing is made where the example has it
commented. A line keeps the comment behind its value.
"""

from typing import Any

Path = tuple[str | int, ...]
"""Keys from the outermost table on; a number counts in an array, from 0."""


def with_value(text: str, path: Path, value: Any) -> str:
    """The text of a TOML file with one value set.

    Parameters
    ----------
    text : str
        Any line endings, which are kept.
    path : tuple of str or int
        ``("cameras", "bench", "px_per_cm")``. A number that is one more than the last of an array
        adds to it.
    value : str, int, float, bool, date, time, sequence of these, or mapping
        Points may be any sequence of pairs. A mapping sets each of its keys (others stay); for a
        new entry of an array it is the entry.

    Returns
    -------
    str

    Raises
    ------
    SettingsError
        If the text is no TOML, or a value stands where the path needs a table.
    MissingExtra
        Without the extra [desk].
    """
    raise NotImplementedError


def without(text: str, path: Path) -> str:
    """The text of a TOML file without a value, table or array entry; as it is where it has none.

    A line with a comment behind its value is commented out, so that the comment stays.

    Raises
    ------
    SettingsError
        If the text is no TOML.
    MissingExtra
        Without the extra [desk], where it stands inside a value in brackets.
    """
    raise NotImplementedError
