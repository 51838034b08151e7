"""Score every wheel of the catalogue against a train.

The train is cut into pieces of about two revolutions; in each piece the best starting tooth is
sought, so that a lost or doubled edge spoils one piece and not the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from crankwise.model.wheel import Wheel
from crankwise.wheel.likelihood import (
    ROUGHNESS_PER_DEG,
    Expected,
    Steps,
    expected_of,
    log_density,
    tooth_variance,
    width_classes,
)

_MAX_STEPS = 900
_PIECE_REVOLUTIONS = 2.2
_SHORT_LIST = 8
MIN_EXPLAINED = 0.5
"""Share of the pieces that a wheel has to explain without a slip."""
_CLIP = 0.35
_HARDEST_PER_DEG, _MOST = 0.016, 0.6
"""The hardest change of ln(speed) an engine on its starter makes, 1/degree (twice to once the
speed in a quarter turn), and the most that a step may be off: ln 2 is 0.69, so a missing tooth is
never explained by speed."""
_RIGHT_WIDTH, _WRONG_WIDTH = np.log(0.98 / 0.5), np.log(0.02 / 0.5)
_EVEN_PIECE = 60
UNIFORM = Wheel(name="even teeth", intervals_deg=(360.0,), pitch_deg=360.0, has_gap=False)
"""Stands for any wheel of even teeth: its pattern alone can't tell how many make a turn."""


@dataclass(frozen=True, slots=True)
class Score:
    """Mean log-likelihood of a step under one wheel, and the roughness that fits best.

    ``explained`` is the share of pieces in which every step is one an engine can make;
    ``followed`` says that the wheel was accepted with slips in most turns.
    """

    wheel: Wheel
    log_likelihood: float
    roughness: float
    explained: float
    followed: bool = False


def rank(steps: Steps, wheels: Sequence[Wheel]) -> list[Score]:
    """Wheels by falling log-likelihood; hopeless ones are left out early.

    Parameters
    ----------
    steps : Steps
        Of one train.
    wheels : sequence of Wheel
    """
    steps = _limited(steps)
    classes = width_classes(steps.duty)
    usable = [wheel for wheel in wheels if classes is not None or not wheel.width_deg]
    usable = [wheel for wheel in usable if wheel.teeth_per_rev + 1 <= len(steps.change)]
    expected = [expected_of(wheel) for wheel in usable]
    rough = [_rough_cost(steps, item) for item in expected]
    order = np.argsort(rough)[:_SHORT_LIST]
    scores = [_score(steps, usable[i], expected[i], classes) for i in order]
    scores.append(_score(steps, UNIFORM, _even(), None))
    return sorted(scores, key=lambda score: -score.log_likelihood)


def _limited(steps: Steps) -> Steps:
    """The middle of a long train is enough to tell the wheel."""
    n = len(steps.change)
    if n <= _MAX_STEPS:
        return steps
    part = slice((n - _MAX_STEPS) // 2, (n + _MAX_STEPS) // 2)
    return Steps(steps.change[part], steps.timing_variance[part], steps.duty[part])


def _even() -> Expected:
    """Even teeth of unknown pitch, judged as if one were 10 degrees; roughness is free anyway."""
    ten = np.full(1, 10.0)
    return Expected(np.zeros(1), ten, tooth_variance(ten, ten), None)


def _pieces(count: int, teeth: int) -> list[slice]:
    length = min(count, int(np.ceil(_PIECE_REVOLUTIONS * teeth)) + 1)
    number = max(count // length, 1)
    bounds = np.linspace(0, count, number + 1).astype(int)
    return [slice(a, b) for a, b in pairwise(bounds)]


def _phases(length: int, teeth: int) -> np.ndarray:
    """Tooth of each step for each starting tooth, shape (length, teeth)."""
    return (np.arange(length)[:, None] + np.arange(teeth)[None, :]) % teeth


def _rough_cost(steps: Steps, expected: Expected) -> float:
    teeth = len(expected.change)
    total = 0.0
    for piece in _pieces(len(steps.change), teeth):
        observed = steps.change[piece]
        tooth = _phases(len(observed), teeth)
        miss = np.abs(observed[:, None] - expected.change[tooth])
        total += float(np.minimum(miss, _CLIP).sum(axis=0).min())
    return total / len(steps.change)


def _score(steps: Steps, wheel: Wheel, expected: Expected, classes: np.ndarray | None) -> Score:
    teeth = len(expected.change)
    pieces = _pieces(len(steps.change), _EVEN_PIECE if wheel is UNIFORM else teeth)
    table = np.empty((len(ROUGHNESS_PER_DEG), len(pieces)))
    explained = np.empty(table.shape, dtype=np.bool_)
    for row, roughness in enumerate(ROUGHNESS_PER_DEG):
        for column, piece in enumerate(pieces):
            table[row, column], explained[row, column] = _piece_score(
                steps, piece, expected, classes, roughness
            )
    best = int(np.argmax(table.sum(axis=1)))
    # Spoiled pieces ask for more roughness than the engine has: the better ones tell it.
    good = np.argsort(table[best])[len(pieces) * 2 // 5 :]
    smooth = int(np.argmax(table[:, good].sum(axis=1)))
    return Score(
        wheel,
        log_likelihood=float(table[best].sum() / len(steps.change)),
        roughness=ROUGHNESS_PER_DEG[smooth],
        explained=float(explained[best].mean()),
    )


def _piece_score(
    steps: Steps,
    piece: slice,
    expected: Expected,
    classes: np.ndarray | None,
    roughness: float,
) -> tuple[float, bool]:
    """Log-likelihood of a piece from its best starting tooth, and whether no step is off."""
    teeth = len(expected.change)
    observed, timing = steps.change[piece], steps.timing_variance[piece]
    tooth = _phases(len(observed), teeth)
    residual = observed[:, None] - expected.change[tooth]
    variance = expected.speed_variance(tooth, roughness=roughness) + timing[:, None]
    density = log_density(residual, variance)
    if expected.is_wide is not None and classes is not None:
        right = classes[piece, None] == expected.is_wide[tooth]
        flipped = (~right).sum(axis=0) > right.sum(axis=0)
        right = np.where(flipped, ~right, right)
        density = density + np.where(right, _RIGHT_WIDTH, _WRONG_WIDTH)
    sums = density.sum(axis=0)
    phase = int(np.argmax(sums))
    at = tooth[:, phase]
    limit = _HARDEST_PER_DEG * expected.step_deg[at] + 6 * np.sqrt(timing)
    limit += 3 * np.sqrt(expected.tooth_variance[at])
    is_explained = bool(np.all(np.abs(residual[:, phase]) < np.minimum(limit, _MOST)))
    return float(sums[phase]) - np.log(teeth), is_explained
