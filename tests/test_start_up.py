"""What a command does not pay for: packages that it doesn't need."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from crankwise.readers import digest, read
from crankwise.readers.digest import Digest
from crankwise.readers.measuring import measure_file
from crankwise.testing.simulate import preset, simulate_to_file

LOADED = """
import sys
from crankwise.cli import main

sys.argv = ["crankwise", *sys.argv[1:]]
try:
    main()
except SystemExit as leaving:
    assert not leaving.code, leaving.code
print(*sys.modules, file=sys.stderr)
"""


@pytest.fixture(scope="module")
def short_csv(tmp_path_factory):
    spec = preset("t20-fresh-chain")
    path = tmp_path_factory.mktemp("short") / "van.csv"
    scope = replace(spec.scope, duration_s=1.5, interval_s=5e-5)
    simulate_to_file(replace(spec, scope=scope), path, seed=1)
    return path


def loaded_by(*arguments: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *arguments], capture_output=True, text=True, check=True
    )
    return set(done.stderr.split())


def test_a_short_recording_is_measured_without_the_slow_packages(short_csv):
    loaded = loaded_by("measure", str(short_csv), "--json")
    assert "crankwise.pipeline.measuring" in loaded
    slow = {"scipy", "polars", "numpy.f2py", "sqlalchemy", "alembic", "rich", "h5py", "asammdf"}
    assert loaded.isdisjoint(slow)


def test_the_digest_of_a_file_does_not_wait_for_numpy():
    code = "import sys, crankwise.readers.digest; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "numpy" not in done.stdout.split()


@pytest.mark.parametrize("size", [0, 1, 999, 1000, 100_001])
def test_a_digest_that_waits_for_the_reader_is_that_of_the_whole_file(size, tmp_path, monkeypatch):
    monkeypatch.setattr(digest, "_BLOCK_BYTES", 1000)
    monkeypatch.setattr(digest, "_AHEAD_BYTES", 5000)
    path = tmp_path / "van.csv"
    path.write_bytes(np.random.default_rng(1).bytes(size))
    sha256 = Digest(path)
    for place in range(0, size, 20_000):
        sha256.reader_is_at(place)
    assert sha256() == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_digest_of_a_file_that_is_not_there_says_so_when_asked(tmp_path):
    sha256 = Digest(tmp_path / "missing.csv")
    with pytest.raises(FileNotFoundError):
        sha256()


class Keeping:
    """Keeps all it is given."""

    def begin(self, channels, *, interval_s):
        self.channels, self.interval_s, self.blocks = tuple(channels), interval_s, []

    def feed(self, values, time_s):
        assert time_s is None
        self.blocks.append([part.copy() for part in values])


def test_others_take_the_samples_in_the_same_pass(short_csv):
    keeping = Keeping()
    measure_file(short_csv, also=[keeping])
    recording = read(short_csv)
    assert keeping.channels == recording.channel_names
    assert keeping.interval_s == recording.interval_s
    for index, channel in enumerate(recording.channels):
        joined = np.concatenate([block[index] for block in keeping.blocks])
        np.testing.assert_array_equal(joined, channel.values)
