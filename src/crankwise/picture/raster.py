"""SVG to PNG with the font that the package ships, so it looks the same on every machine."""

from __future__ import annotations

from importlib import resources
from typing import Final

from crankwise.errors import MissingPackageError

_LAST_SHIPPED: Final = "\u26ff"  # beyond Latin, Greek, Cyrillic and signs other fonts may help


def png(svg: str, *, zoom: float = 2.0) -> bytes:
    """Render a picture.

    Parameters
    ----------
    svg : str
        The picture.
    zoom : float
        PNG pixels for each SVG pixel.

    Raises
    ------
    MissingPackageError
        The package that renders is not installed.
    """
    try:
        import resvg_py  # noqa: PLC0415  optional
    except ImportError as error:
        raise MissingPackageError(
            "A PNG picture needs the package resvg-py: install it with "
            "pip install 'crankwise[png]', or ask for an .svg picture"
        ) from error
    with resources.as_file(resources.files(__package__) / "fonts") as fonts:
        made = resvg_py.svg_to_bytes(
            svg_string=svg,
            zoom=zoom,
            font_files=[str(font) for font in sorted(fonts.glob("*.ttf"))],
            font_family="DejaVu Sans",
            sans_serif_family="DejaVu Sans",
            skip_system_fonts=max(svg) <= _LAST_SHIPPED,
        )
    return bytes(made)
