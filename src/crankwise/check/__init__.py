"""The recording check: what a good colleague would point out."""

from crankwise.check.recording_check import recording_check

__all__ = ["recording_check"]
