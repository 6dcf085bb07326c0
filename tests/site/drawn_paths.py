"""Reads the paths of an SVG, as far as our curves use them."""

import re

_COMMAND = re.compile(r"([MmlhZ])([^MmlhZ]*)")
_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)")


def places_of(path):
    """Every place that a path of `M`, `m` and `l` leads to, in px; `h0` and `Z` lead nowhere."""
    found, x, y = [], 0.0, 0.0
    for command, told in _COMMAND.findall(path):
        numbers = [float(number) for number in _NUMBER.findall(told)]
        if command in "hZ":
            assert not any(numbers), "only dots are drawn so"
            continue
        for along, down in zip(numbers[::2], numbers[1::2], strict=True):
            x, y = (along, down) if command == "M" else (x + along, y + down)
            found.append((round(x, 6), round(y, 6)))
    return found
