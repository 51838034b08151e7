"""Measurement against known-goods: shifts, separations, and the limits of healthy engines."""
