"""A picture for a dark screen: the same drawing with light and dark exchanged."""

from __future__ import annotations

import colorsys
import re
from typing import Final

_PAINT: Final = re.compile(r'((?:fill|stroke)=")#([0-9a-f]{6})"')
_DARKEST: Final = 0.09  # lightness of what was white
_LIGHTEST: Final = 0.93  # lightness of what was black

_CALMER: Final = 0.75  # light colours look stronger on dark paper


def on_dark(picture: str) -> str:
    """Turn a picture of ours, drawn on white, into one on dark paper.

    Every colour keeps its hue and takes the opposite lightness. Print the light one.

    >>> on_dark('<rect fill="#ffffff"/>')
    '<rect fill="#171717"/>'
    """
    return _PAINT.sub(lambda found: f'{found[1]}{_exchanged(found[2])}"', picture)


def _exchanged(colour: str) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) / 255.0 for place in (0, 2, 4))
    hue, lightness, saturation = colorsys.rgb_to_hls(red, green, blue)
    opposite = _LIGHTEST - lightness * (_LIGHTEST - _DARKEST)
    parts = colorsys.hls_to_rgb(hue, opposite, _CALMER * saturation)
    return "#" + "".join(f"{round(255.0 * part):02x}" for part in parts)
