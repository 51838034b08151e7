"""Axis, widths and labels, checked against the font file and by brute geometry."""

from __future__ import annotations

import itertools
import struct
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.picture.layout import Axis, fitted, label_rows, spread, text_width, thinning, wrapped


def advance_widths() -> dict[str, float]:
    """Read advance widths, in em, from the shipped font's cmap (format 4) and hmtx tables.

    Table layouts: OpenType specification, chapters cmap, head, hhea and hmtx.
    """
    data = (resources.files("crankwise.picture") / "fonts/DejaVuSans-subset.ttf").read_bytes()
    count = struct.unpack_from(">H", data, 4)[0]
    table = {}
    for index in range(count):
        tag, _, offset, _ = struct.unpack_from(">4sIII", data, 12 + 16 * index)
        table[tag.decode()] = offset
    em = struct.unpack_from(">H", data, table["head"] + 18)[0]
    long_metrics = struct.unpack_from(">H", data, table["hhea"] + 34)[0]
    subtables = struct.unpack_from(">H", data, table["cmap"] + 2)[0]
    offsets = [
        table["cmap"] + struct.unpack_from(">I", data, table["cmap"] + 8 + 8 * i)[0]
        for i in range(subtables)
    ]
    start = next(o for o in offsets if struct.unpack_from(">H", data, o)[0] == 4)
    segments = struct.unpack_from(">H", data, start + 6)[0] // 2
    ends, starts, deltas, ranges = (start + 14, *(start + 16 + 2 * segments * k for k in (1, 2, 3)))
    widths = {}
    for s in range(segments):
        first = struct.unpack_from(">H", data, starts + 2 * s)[0]
        last = struct.unpack_from(">H", data, ends + 2 * s)[0]
        delta = struct.unpack_from(">H", data, deltas + 2 * s)[0]
        reach = struct.unpack_from(">H", data, ranges + 2 * s)[0]
        for code in range(first, min(last, 0xFFFE) + 1):
            glyph = code
            if reach:
                glyph = struct.unpack_from(">H", data, ranges + 2 * s + reach + 2 * (code - first))[
                    0
                ]
            glyph = (glyph + delta) & 0xFFFF
            place = table["hmtx"] + 4 * min(glyph, long_metrics - 1)
            widths[chr(code)] = struct.unpack_from(">H", data, place)[0] / em
    return widths


WIDTHS = advance_widths()


def test_the_font_has_every_character_the_picture_itself_writes():
    assert set("0123456789.°±+-←→▲▼…·µ") <= set(WIDTHS)


@pytest.mark.parametrize(
    "line",
    [
        "150.02° ± 0.06°",
        "26.0 before the gap",
        "← teeth before the gap",
        "exhaust-2",
        "MWQ@ channel",
    ],
)
def test_text_width_covers_the_real_one_without_waste(line):
    real = sum(WIDTHS[char] for char in line) * 11
    assert real <= text_width(line, size=11) + 0.5
    assert text_width(line, size=11) <= 1.15 * real


@given(st.text("abcMW.° 漢", max_size=60), st.floats(20, 200))
def test_fitted_text_fits(line, width):
    assert text_width(fitted(line, size=10, width=width), size=10) <= width


@given(st.lists(st.text("abcMW.°漢", min_size=1, max_size=20), max_size=20), st.floats(20, 200))
def test_wrapped_text_fits_and_keeps_its_words(words, width):
    lines = wrapped(" ".join(words), size=10, width=width)
    assert all(text_width(line, size=10) <= width for line in lines)
    kept = [word for line in lines for word in line.split()]
    assert len(kept) == len(words)
    for word, shown in zip(words, kept, strict=True):
        assert shown == word or shown.endswith("…")


@given(st.floats(-60, 400), st.floats(10, 720), st.floats(0, 720, exclude_max=True))
def test_an_angle_is_in_view_once_and_in_place(start, length, angle):
    axis = Axis(start, start + length, 100.0, 900.0)
    seen = axis.unwrapped(angle)
    inside = any(start <= angle + 720 * turn <= start + length for turn in (-1, 0, 1))
    assert (seen is not None) == inside
    if seen is not None:
        assert (seen - angle) % 720 == pytest.approx(0, abs=1e-9) or (seen - angle) % 720 > 719.99
        assert 100.0 - 1e-6 <= axis.x(seen) <= 900.0 + 1e-6


def test_the_axis_is_linear_between_its_ends():
    axis = Axis(-60.0, 60.0, 100.0, 700.0)
    assert (axis.x(-60.0), axis.x(0.0), axis.x(60.0)) == (100.0, 400.0, 700.0)
    assert axis.unwrapped(700.0) == -20.0
    assert (axis.holds(100.0), axis.holds(99.9), axis.holds(700.1)) == (True, False, False)
    assert (axis.clipped(99.0), axis.clipped(400.0), axis.clipped(701.0)) == (100.0, 400.0, 700.0)


@given(st.lists(st.tuples(st.floats(0, 900), st.floats(20, 140)), max_size=30))
def test_neither_labels_nor_their_lines_cross_a_label(labels):
    labels = sorted(labels)
    rows = label_rows([x for x, _ in labels], [width for _, width in labels])
    placed = [(x, width, row) for (x, width), row in zip(labels, rows, strict=True)]
    for (x1, width1, row1), (x2, _, row2) in itertools.combinations(placed, 2):
        # The second starts at or right of the first: they meet where it starts before its end.
        if x2 < x1 + width1:
            assert row1 > row2  # so the line down at x2 ends above the first label


@given(st.lists(st.floats(0, 500), max_size=30))
def test_spread_keeps_order_distance_and_limits(positions):
    moved = spread(sorted(positions), apart=13.0, left=0.0, right=500.0)
    assert all(b - a >= 13.0 - 1e-9 for a, b in itertools.pairwise(moved))
    assert all(-1e-9 <= x <= 500.0 for x in moved)


def test_spread_leaves_alone_what_has_room():
    assert spread([5.0, 100.0, 300.0], apart=13.0, left=0.0, right=500.0) == [5.0, 100.0, 300.0]


@pytest.mark.parametrize(
    ("spacing", "step"), [(30.0, 1), (12.1, 2), (7.5, 5), (2.5, 10), (0.6, 50)]
)
def test_numbers_are_thinned_to_what_fits(spacing, step):
    assert thinning(spacing, room=24.0) == step
