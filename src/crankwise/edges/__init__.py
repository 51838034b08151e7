"""Samples or state changes to edges at sub-sample times."""

from crankwise.edges.detect import find_all_edges, find_edges
from crankwise.edges.stream import EdgeStream

__all__ = ["EdgeStream", "find_all_edges", "find_edges"]
