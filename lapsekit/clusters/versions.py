"""What must be the same on every machine, so that each gives the same numbers."""

import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import scipy
import skimage

import lapsekit

_PACKAGE = Path(lapsekit.__file__).parent
_SHAPES_NUMBERS = ("vision/*.py", "ruler.py", "viewing.py", "teaching.py", "clusters/*.py")


@cache
def versions() -> Mapping[str, str]:
    """Versions of what shapes a number, by name; of lapsekit's own code a hash besides."""
    return {
        "lapsekit": lapsekit.__version__,
        "the code of lapsekit": _code(),
        "OpenCV": cv2.__version__,
        "numpy": np.__version__,
        "scikit-image": skimage.__version__,
        "scipy": scipy.__version__,
    }


def differences(there: Mapping[str, str], here: Mapping[str, str]) -> list[str]:
    """A phrase for each version that differs: ``numpy 2.0.1 instead of 2.4.6``."""
    return [
        f"{name} {there.get(name, 'unknown')} instead of {version}"
        for name, version in here.items()
        if there.get(name) != version
    ]


def _code() -> str:
    digest = hashlib.sha256()
    for pattern in _SHAPES_NUMBERS:
        for file in sorted(_PACKAGE.glob(pattern)):
            digest.update(file.name.encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()[:12]
