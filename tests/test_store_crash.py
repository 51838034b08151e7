"""Writers killed at any moment, and several processes at once: nothing is lost or halved."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from crankwise.store import open_store

# Writes jobs and originals one after the other and says when each is done. Each original is
# written in several chunks, so that a kill often comes in the middle of one.
WRITER = """
import sys
from crankwise.model.job import Note
from crankwise.store import open_store
with open_store(sys.argv[1]) as store:
    print("open", flush=True)
    for number in range(int(sys.argv[2]), int(sys.argv[3])):
        data = str(number).encode() * 400_000
        recording = store.recordings.add(data, name=f"{number}.csv")
        print("recording", number, recording.sha256, flush=True)
        van = store.jobs.add_vehicle(f"van {number}")
        job = store.jobs.open(van.id)
        visit = store.jobs.add_visit(job.id, date="2026-03-01")
        store.jobs.add_recording(visit.id, recording.sha256, purpose="check")
        fact = store.jobs.add_fact(Note(str(number)), job_id=job.id, visit_id=visit.id)
        print("job", number, job.id, flush=True)
"""
KILLS = 5
WRITES = 200


def start(where, first, last):
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(where), str(first), str(last)],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="needs a signal that can't be caught")
def test_killed_at_random_points_of_200_writes_nothing_is_lost(tmp_path):
    chance = np.random.default_rng(11)
    done = []
    first = 0
    for _ in range(KILLS):
        child = start(tmp_path, first, first + WRITES // KILLS)
        assert child.stdout.readline() == "open\n"
        lines = [child.stdout.readline() for _ in range(chance.integers(3, 12))]
        time.sleep(chance.uniform(0.0, 0.02))
        child.send_signal(signal.SIGKILL)
        rest, _ = child.communicate()  # what was done between the last look and the end
        assert child.returncode == -signal.SIGKILL
        lines += rest.splitlines(keepends=True)
        done += [line.split() for line in lines if line.endswith("\n")]
        first += WRITES // KILLS
    with open_store(tmp_path) as store:
        assert store.verify().is_sound
        kept = {recording.sha256 for recording in store.recordings.list() if recording.is_kept}
        files = {file.job.id: file for file in store.jobs.list()}
        for kind, number, what in done:
            if kind == "recording":
                assert what in kept
                with store.recordings.original(what) as path:
                    assert path.read_bytes() == number.encode() * 400_000
            else:
                [visit] = files[int(what)].visits
                assert [fact.fact.text for fact in visit.facts] == [number]
                assert len(visit.recordings) == 1
        # The jobs that were cut off hold a beginning, each step of it whole.
        assert len(files) >= sum(kind == "job" for kind, *_ in done)
        assert store.recordings.add(b"after", name="after.csv").is_kept


def test_two_processes_write_at_once(tmp_path):
    children = [start(tmp_path, 0, 12), start(tmp_path, 6, 18)]
    said = [child.communicate(timeout=120)[0].splitlines() for child in children]
    assert [child.returncode for child in children] == [0, 0]
    with open_store(tmp_path) as store:
        assert len(store.recordings.list()) == 18
        assert len(store.jobs.list()) == 24
        assert store.verify().is_sound
        assert all(len(file.visits[0].recordings) == 1 for file in store.jobs.list())
    assert [len(lines) for lines in said] == [25, 25]
