"""Files that travel with the package: the shipped model, the site template, example settings."""

from pathlib import Path

_PACKAGE = Path(__file__).parent


def shared_folder(name: str) -> Path:
    """Folder `name` (``site_template`` or ``config``) of the wheel, or of the checkout.

    Parameters
    ----------
    name : str
        A top-level folder of the project that the wheel carries.

    Returns
    -------
    pathlib.Path
        The folder. In a wheel it lies inside the package; in a checkout beside it.
    """
    packed = _PACKAGE / "_shared" / name
    return packed if packed.is_dir() else _PACKAGE.parent / name


def shipped_model_text() -> str:
    """Text of the canopy model that the package ships (JSON)."""
    return (_PACKAGE / "vision" / "canopy_model.json").read_text(encoding="utf-8")


def caption_font() -> Path:
    """The font that is drawn into pictures (its licence lies beside it)."""
    return _PACKAGE / "film" / "caption_font.ttf"
