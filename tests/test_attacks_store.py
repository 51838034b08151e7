"""The attacks on the store, a few tries of each, so that they can't rot.

They run in a process of their own, as children are made by forking, which wants no other threads.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from attacks.power import Call, Disk

ROOT = Path(__file__).parents[1]

pytestmark = pytest.mark.skipif(os.name != "posix", reason="children are forked and killed")


def attack(only, tries):
    done = subprocess.run(
        [sys.executable, "-m", "attacks.store", "--tries", str(tries), "--only", only],
        cwd=ROOT, capture_output=True, text=True, check=False,
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT / "src"), str(ROOT)])},
    )  # fmt: skip
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr[-3000:]}"
    return done.stdout


@pytest.mark.parametrize(
    ("only", "tries"),
    [
        ("writing: all", 12),
        ("migrating", 15),
        ("importing a bundle", 20),
        ("a batch", 14),
        ("the server", 20),
        ("writing results", 20),
    ],
)
def test_nothing_is_lost_by_a_few_kills(only, tries):
    assert "| pass " in attack(f"kill: {only}", tries)


@pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace")
@pytest.mark.parametrize("only", ["writing: all", "writing results"])
def test_nothing_is_lost_by_a_few_power_cuts(only):
    assert "| pass " in attack(f"power cut: {only}", 40)


@pytest.mark.parametrize("only", ["locked", "clock", "several starts"])
def test_a_hostile_system_is_borne(only):
    assert "| pass " in attack(only, 1)


# --- the model of a power cut itself ------------------------------------------------------------


def call(name, *texts, handle=None, rest="", gave=0):
    return Call(name, handle, tuple(text.encode() for text in texts), rest, gave)


def left_of(calls, before, tmp_path, seed):
    disk = Disk("/disk", before)
    for one in calls:
        disk.take(one)
    target = tmp_path / f"left-{seed}"
    disk.cut(np.random.default_rng(seed), target)
    return {path.name: path.read_bytes() for path in target.rglob("*") if path.is_file()}


@pytest.fixture
def before(tmp_path):
    (tmp_path / "before").mkdir()
    (tmp_path / "before" / "old").write_bytes(b"old")
    return tmp_path / "before"


SAVED = [
    call("openat", "/disk/new", rest="AT_FDCWD, O_WRONLY|O_CREAT|O_EXCL", gave=5),
    call("write", "content", handle=5, gave=7),
    call("fsync", handle=5),
    call("close", handle=5),
    call("rename", "/disk/new", "/disk/old"),
]
FOLDER_FLUSHED = [
    call("openat", "/disk", rest="AT_FDCWD, O_RDONLY", gave=6),
    call("fsync", handle=6),
]


def test_a_flushed_file_whose_new_name_was_not_flushed_may_be_the_old_one(before, tmp_path):
    seen = {left_of(SAVED, before, tmp_path, seed).get("old") for seed in range(20)}
    assert seen == {b"old", b"content"}


def test_what_was_flushed_with_its_name_is_there_after_every_cut(before, tmp_path):
    for seed in range(20):
        assert left_of(SAVED + FOLDER_FLUSHED, before, tmp_path, seed) == {"old": b"content"}


def test_what_was_not_flushed_may_be_there_in_part(before, tmp_path):
    calls = [
        call("openat", "/disk/old", rest="AT_FDCWD, O_RDWR", gave=5),
        call("pwrite64", "x" * 12_288, handle=5, rest="5, , 12288, 0", gave=12_288),
    ]
    seen = {left_of(calls, before, tmp_path, seed)["old"] for seed in range(40)}
    assert {b"old", b"x" * 12_288} < seen
    assert len(seen) > 5
