"""Samples or state changes to edges at sub-sample times."""

from crankwise.edges.detect import find_all_edges, find_edges

__all__ = ["find_all_edges", "find_edges"]
