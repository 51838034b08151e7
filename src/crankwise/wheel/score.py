"""Score every wheel of the catalogue against a train.

The train is cut into pieces of about two revolutions; in each piece the best starting tooth is
sought, so that a lost or doubled edge spoils one piece and not the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from crankwise.model.recording import BoolArray, FloatArray
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
_MOST_STARTS = 8
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
    fits = [_Fit.of(steps, wheel, expected_of(wheel), classes) for wheel in usable]
    order = np.argsort([fit.miss.min(axis=1).sum() for fit in fits])[:_SHORT_LIST]
    chosen = [fits[i] for i in order] + [_Fit.of(steps, UNIFORM, _even(), None)]
    return sorted((_score(fit) for fit in chosen), key=lambda score: -score.log_likelihood)


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


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """The steps in pieces beside one wheel.

    Pieces differ in length by one step at most; where a piece has no last step, ``counts`` is 0.
    ``miss`` is how far the steps of each piece are off for each starting tooth, limited for each
    step; beyond the first of the wheel's repeats starting teeth tell nothing new.

    ``change``, ``timing_variance``, ``counts`` and ``is_wide`` have the shape (pieces, length),
    ``miss`` has (pieces, starting teeth).
    """

    wheel: Wheel
    expected: Expected
    change: FloatArray
    timing_variance: FloatArray
    counts: FloatArray
    is_wide: BoolArray | None
    miss: FloatArray

    @classmethod
    def of(cls, steps: Steps, wheel: Wheel, expected: Expected, classes: BoolArray | None) -> _Fit:
        count, teeth = len(steps.change), len(expected.change)
        length = _EVEN_PIECE if wheel is UNIFORM else int(np.ceil(_PIECE_REVOLUTIONS * teeth)) + 1
        pieces = max(count // min(count, length), 1)
        bounds = np.linspace(0, count, pieces + 1).astype(int)
        longest = int(np.diff(bounds).max())
        index = bounds[:-1, None] + np.arange(longest)
        counts = (index < bounds[1:, None]).astype(np.float64)
        index = np.minimum(index, count - 1)
        change = steps.change[index]
        # The wheel from each starting tooth on: a window on it that has moved by one.
        turns = np.resize(expected.change, longest + teeth // wheel.repeats - 1)
        turns = sliding_window_view(turns.astype(np.float32), longest)
        off = np.abs(change[:, None, :].astype(np.float32) - turns)
        miss = np.einsum("pti,pi->pt", np.minimum(off, _CLIP, out=off), counts)
        is_wide = None if classes is None or expected.is_wide is None else classes[index]
        return cls(wheel, expected, change, steps.timing_variance[index], counts, is_wide, miss)


def _score(fit: _Fit) -> Score:
    table, explained = _piece_scores(fit)
    best = int(np.argmax(table.sum(axis=1)))
    # Spoiled pieces ask for more roughness than the engine has: the better ones tell it.
    good = np.argsort(table[best])[table.shape[1] * 2 // 5 :]
    smooth = int(np.argmax(table[:, good].sum(axis=1)))
    return Score(
        fit.wheel,
        log_likelihood=float(table[best].sum() / fit.counts.sum()),
        roughness=ROUGHNESS_PER_DEG[smooth],
        explained=float(explained[best].mean()),
    )


def _piece_scores(fit: _Fit) -> tuple[FloatArray, BoolArray]:
    """Log-likelihood of each piece from its best starting tooth, and whether no step is off.

    Both have the shape (roughness, pieces). Only starting teeth that miss least are tried, all of
    them where widths may say more than spacing does.
    """
    expected, teeth = fit.expected, len(fit.expected.change)
    starts = fit.miss.shape[1]
    if fit.is_wide is None and starts > _MOST_STARTS:
        start = np.argpartition(fit.miss, _MOST_STARTS, axis=1)[:, :_MOST_STARTS]
    else:
        start = np.broadcast_to(np.arange(starts), fit.miss.shape)
    tooth = (start[:, None, :] + np.arange(fit.change.shape[1])[:, None]) % teeth
    residual = fit.change[:, :, None] - expected.change[tooth]
    roughness = np.array(ROUGHNESS_PER_DEG)[:, None, None, None]
    variance = expected.speed_variance(tooth, roughness=roughness)
    density = log_density(residual, variance + fit.timing_variance[:, :, None])
    if fit.is_wide is not None and expected.is_wide is not None:
        right = fit.is_wide[:, :, None] == expected.is_wide[tooth]
        of_piece = np.einsum("pit,pi->pt", right, fit.counts) / fit.counts.sum(axis=1)[:, None]
        right = right != (of_piece < 0.5)[:, None, :]
        density = density + np.where(right, _RIGHT_WIDTH, _WRONG_WIDTH)
    sums = np.einsum("rpit,pi->rpt", density, fit.counts)
    timing = fit.timing_variance[:, :, None]
    limit = _HARDEST_PER_DEG * expected.step_deg[tooth] + 6 * np.sqrt(timing)
    limit += 3 * np.sqrt(expected.tooth_variance[tooth])
    is_off = np.abs(residual) >= np.minimum(limit, _MOST)
    explained = ~np.any(is_off & (fit.counts[:, :, None] > 0), axis=1)
    best = np.argmax(sums, axis=2)
    return sums.max(axis=2) - np.log(teeth), explained[np.arange(len(explained)), best]
