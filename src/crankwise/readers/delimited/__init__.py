"""Text tables: dialect, header, numbers, in this order, each in a module of its own."""

from crankwise.readers.delimited.reader import DelimitedReader

__all__ = ["DelimitedReader"]
