"""Files that would end or hang the library of HDF5 are refused before it meets them."""

from __future__ import annotations

from pathlib import Path

import pytest

from crankwise.errors import UnreadableError
from crankwise.readers import hdf5_look, read

TESTS = Path(__file__).parent


def test_a_file_that_ends_the_process_is_refused():
    with pytest.raises(UnreadableError, match="it is torn inside"):
        read(TESTS / "fuzzed" / "hdf5" / "crash-groups.h5")


def test_a_file_that_never_ends_is_refused(monkeypatch):
    monkeypatch.setattr(hdf5_look, "_LONGEST_S", 1.5)
    with pytest.raises(UnreadableError, match="it has no end"):
        read(TESTS / "endless" / "groups.h5")
