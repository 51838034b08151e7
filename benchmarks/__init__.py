"""Accuracy against known truth, and speed: the figures in docs/accuracy.md and performance.md."""
