"""Signs of the verdicts: a shape each, whatever colours and characters are at hand."""

from __future__ import annotations

from typing import get_args

import pytest

from crankwise.model.comparison import Level
from crankwise.picture import svg
from crankwise.picture.verdicts import SIGNS, drawn

LEVELS = get_args(Level)


def test_every_level_has_a_sign_of_its_own():
    assert tuple(SIGNS) == LEVELS
    for kind in ("sign", "plain", "colour"):
        assert len({getattr(sign, kind) for sign in SIGNS.values()}) == len(LEVELS)
    assert all(sign.plain.isascii() for sign in SIGNS.values())


def test_the_drawn_shapes_differ_without_their_colours():
    shapes = set()
    for level in LEVELS:
        made = "".join(map(str, drawn(level, 10.0, 10.0)))
        shapes.add(made.replace(SIGNS[level].colour, "black"))
    assert len(shapes) == len(LEVELS)


@pytest.mark.parametrize("level", LEVELS)
def test_signs_keep_to_their_place(level):
    for part in drawn(level, 100.0, 50.0, radius=8.0):
        assert isinstance(part, svg.Element)
        attributes = dict(part.attributes)
        if "points" in attributes:
            points = [tuple(map(float, p.split(","))) for p in attributes["points"].split()]
            assert all(abs(x - 100) <= 10 and abs(y - 50) <= 10 for x, y in points)
            assert sum(x for x, _ in points) / len(points) == pytest.approx(100.0)


def test_colours_stand_out_from_white_paper():
    # Contrast ratio of WCAG 2.1, success criterion 1.4.11: at least 3 to 1 for graphics.
    for sign in SIGNS.values():
        parts = [int(sign.colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        luminance = sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
        assert 1.05 / (luminance + 0.05) >= 3.0
