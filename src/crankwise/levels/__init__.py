"""Levels: what a screen needs to show a recording of any length at once, built beside measuring.

Over time each channel has a pyramid, whose levels hold the least and greatest of ever more samples;
over the cycle it has a band, which shows how far all cycles reach in each 1/32 degree. With them
lies the trace: crank angle, speed and cam edges of the whole recording.

Samples are rounded to steps of their channel's range. That is for pictures only: nothing is
measured in levels.
"""

from __future__ import annotations

from crankwise.levels.angle_window import angle_window
from crankwise.levels.building import build_levels
from crankwise.levels.cache import LevelsCache, key_of
from crankwise.levels.stored import Levels
from crankwise.levels.time_window import time_window

__all__ = ["Levels", "LevelsCache", "angle_window", "build_levels", "key_of", "time_window"]
