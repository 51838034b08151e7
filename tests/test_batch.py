"""Batches: one table whatever measures it and whatever breaks on the way."""

from __future__ import annotations

import errno
import json
import os
import shutil
import stat
import subprocess
import sys
import textwrap
import time
from contextlib import contextmanager
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from crankwise import document
from crankwise.batch import Plan, find_sources, run, run_batch, work
from crankwise.batch.sources import shown_names
from crankwise.batch.tables import Tables
from crankwise.cli.app import app
from crankwise.errors import UnreadableError, UsageError
from crankwise.readers import read
from crankwise.testing.simulate import simulate_to_file
from crankwise.testing.simulate.visits import van_at

distributed = pytest.importorskip("distributed", reason="an extra: install crankwise[batch]")
import polars as pl  # noqa: E402

ROOT = os.path.dirname(os.path.dirname(__file__))  # noqa: PTH120  what PYTHONPATH wants
ENDED_WITHIN_S = 120


def simulated(path, van, *, seed, duration_s=0.6, kind="events"):
    spec = van_at(van, mileage=9_000, chain_fitted_at=0)
    interval_s = 2e-5 if kind == "sampled" else None
    scope = replace(
        spec.scope, kind=kind, interval_s=interval_s, duration_s=duration_s,
        resolution_s=None if kind == "sampled" else 1e-7,
    )  # fmt: skip
    simulate_to_file(replace(spec, scope=scope), path, seed=seed)
    path.with_name(f"{path.name}.truth.json").unlink()


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    """Twelve recordings in two folders, and three files that are none."""
    folder = tmp_path_factory.mktemp("recordings")
    for number in range(12):
        place = folder / f"van-{number % 2 + 1}"
        place.mkdir(exist_ok=True)
        simulated(place / f"{number:02d}.csv", f"van-{number % 6 + 1}", seed=number + 1)
    whole = (folder / "van-1" / "00.csv").read_bytes()
    (folder / "cut.csv").write_bytes(whole[:800])
    (folder / "notes.txt").write_text("call the owner\n")
    (folder / "empty.csv").touch()
    (folder / "van-1" / "00.csv.truth.json").write_text("{}")
    return folder


@pytest.fixture(scope="module")
def cluster():
    """A scheduler with one worker in this process: quick to start, and patches reach it."""
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address="127.0.0.1:0"
    ) as made:
        yield made.scheduler_address


@pytest.fixture(scope="module")
def whole(recordings, cluster, tmp_path_factory):
    """Tables of all recordings, made at one go."""
    output = tmp_path_factory.mktemp("whole") / "whole.parquet"
    summary = run_batch(sources(recordings), Plan(), output, scheduler=cluster)
    return summary, bytes_of(output)


def sources(*names):
    return find_sources(map(str, names)).sources


def bytes_of(output):
    """Both tables as they are on the disk; nothing else may be left of the batch."""
    failures = output.with_name(f"{output.stem}.failures.parquet")
    left = {path.name for path in output.parent.iterdir() if output.stem in path.name}
    assert left == {output.name, failures.name}
    return output.read_bytes(), failures.read_bytes()


# --- what is meant ------------------------------------------------------------------------------


def test_folders_patterns_and_names_mean_the_same(recordings):
    found = find_sources([str(recordings)])
    assert (len(found.sources), found.documents) == (15, 1)
    assert [one.path for one in found.sources] == sorted(one.path for one in found.sources)
    inside = [recordings / "van-1", f"{recordings}/van-2/*.csv", recordings / "cut.csv"]
    again = find_sources([*map(str, inside), f"{recordings}/**/*.csv"])
    assert {one.path for one in found.sources} - {one.path for one in again.sources} == {
        str(recordings / "notes.txt")
    }


def test_hidden_files_are_passed_over_and_nothing_at_all_is_refused(tmp_path):
    (tmp_path / ".hidden.csv").touch()
    (tmp_path / "saved.json").write_text("{}")
    with pytest.raises(UsageError, match="there are only saved documents"):
        find_sources([str(tmp_path)])
    with pytest.raises(UsageError, match=r"nix\*: there is no recording; name files, folders or"):
        find_sources([str(tmp_path / "nix*")])
    with pytest.raises(UsageError, match="no place for recordings is known by that"):
        find_sources(["nix://bucket/path"])


def test_recordings_are_named_below_what_they_have_in_common():
    assert shown_names(["s3://b/x/1.csv", "s3://b/x/y/2.csv"]) == {
        "s3://b/x/1.csv": "1.csv",
        "s3://b/x/y/2.csv": "y/2.csv",
    }
    assert shown_names(["/a/1.csv"]) == {"/a/1.csv": "1.csv"}


def test_a_url_of_any_kind_is_read(recordings, cluster, whole, tmp_path):
    import fsspec  # noqa: PLC0415

    files = fsspec.filesystem("memory")
    files.put(str(recordings), "/shop/2026", recursive=True)
    files.pipe("/shop/2026/.hidden.csv", b"no")
    try:
        for name in ("memory://shop/2026", "memory://shop/2026/**"):
            output = tmp_path / f"{len(name)}.parquet"
            summary = run_batch(sources(name), Plan(), output, scheduler=cluster)
            assert (summary.measured, summary.failures) == (12, whole[0].failures)
            frame, local = pl.read_parquet(output), pl.read_parquet(whole[1][0])
            told = ["recording", "role", "edge", "angle_deg", "uncertainty_deg", "sha256"]
            assert frame.select(told).equals(local.select(told))
        files.rm("/shop/2026/van-1/00.csv")
        gone = replace(sources("memory://shop/2026/cut.csv")[0], path="memory://shop/gone.csv")
        assert work.measure_one(gone, Plan()).failure.kind == "unreachable"
    finally:
        files.rm("/shop", recursive=True)


# --- the table ----------------------------------------------------------------------------------


def test_there_is_a_row_for_each_edge_as_measured(recordings, cluster, whole):
    from crankwise import pipeline  # noqa: PLC0415

    summary, (results, _) = whole
    frame = pl.read_parquet(results)
    assert (summary.recordings, summary.measured, summary.edges) == (15, 12, len(frame))
    first = ["recording", "path", "role", "edge", "angle_deg", "uncertainty_deg"]
    assert frame.columns[: len(first)] == first
    of_one = frame.filter(pl.col("recording") == "van-1/00.csv")
    measurement = pipeline.measure(read(recordings / "van-1" / "00.csv"))
    edges = [
        (cam.role, edge.edge, edge.angle_deg, edge.uncertainty_deg, edge.scatter_deg, edge.count)
        for cam in measurement.cams
        for edge in cam.edges
    ]
    columns = ["role", "edge", "angle_deg", "uncertainty_deg", "scatter_deg", "count"]
    assert of_one.select(columns).rows() == edges
    assert set(of_one["sha256"]) == {measurement.recording.sha256}
    assert of_one["shift_deg"].null_count() == of_one["verdict"].null_count() == len(of_one)


def test_failures_are_a_table_with_what_the_command_would_say(recordings, whole):
    summary, (_, failures) = whole
    found = {row["recording"]: row for row in pl.read_parquet(failures).to_dicts()}
    assert set(found) == {"cut.csv", "notes.txt", "empty.csv"}
    assert summary.failures == {"not-measurable": 1, "unreadable": 2}
    with pytest.raises(UnreadableError) as said:
        read(recordings / "empty.csv")
    assert found["empty.csv"]["message"] == str(said.value)
    kinds = {name: (row["kind"], row["exit_code"]) for name, row in found.items()}
    assert kinds == {
        "cut.csv": ("not-measurable", 4),
        "notes.txt": ("unreadable", 3),
        "empty.csv": ("unreadable", 3),
    }


def test_what_is_compared_has_shift_and_verdict(recordings, cluster, tmp_path):
    from crankwise import pipeline  # noqa: PLC0415

    known_good = pipeline.measure(read(recordings / "van-1" / "00.csv"))
    other = document.load(f"{ROOT}/tests/snapshots/inputs/v6.json")
    three = sources(*(recordings / "van-2" / f"{n:02d}.csv" for n in (1, 3, 5)))
    output = tmp_path / "out.parquet"
    summary = run_batch(three, Plan(known_goods=(known_good,)), output, scheduler=cluster)
    frame = pl.read_parquet(output)
    assert sum(summary.verdicts.values()) == 3
    for row in frame.filter(pl.col("recording") == "03.csv").to_dicts():
        subject = pipeline.measure(read(recordings / "van-2" / "03.csv"))
        shift = pipeline.compare(subject, [known_good]).cam(row["role"])
        assert (row["shift_deg"], row["shift_uncertainty_deg"], row["compared_as"]) == (
            shift.shift_deg, shift.uncertainty_deg, row["role"],
        )  # fmt: skip
    # A known-good is not held against itself.
    alone = sources(recordings / "van-1" / "00.csv")
    only = run_batch(
        alone, Plan(known_goods=(known_good,)), tmp_path / "o.parquet", scheduler=cluster
    )
    assert (only.measured, only.verdicts, only.failures) == (1, {}, {"not-comparable": 1})
    # Another engine's known-good: measured all the same, and the failure says why not compared.
    again = run_batch(three, Plan(known_goods=(other,)), output, scheduler=cluster)
    assert (again.measured, again.from_before) == (3, 0)
    assert again.failures == {"not-comparable": 3}
    assert set(pl.read_parquet(again.failed)["exit_code"]) == {4}
    assert pl.read_parquet(output)["verdict"].null_count() == again.edges


@pytest.mark.parametrize("kind", ["sampled", "events"])
def test_results_are_equal_across_formats(cluster, tmp_path, kind):
    suffixes = ("csv", "npz", "parquet", "tsv", "h5") if kind == "sampled" else ("csv", "vcd")
    for suffix in suffixes:
        simulated(tmp_path / f"van.{suffix}", "van-3", seed=4, duration_s=1.0, kind=kind)
    output = tmp_path / "out.parquet"
    run_batch(sources(tmp_path), Plan(), output, scheduler=cluster)
    frame = pl.read_parquet(output)
    reference = frame.filter(pl.col("recording") == f"van.{suffixes[1]}")
    for suffix in suffixes:
        same = frame.filter(pl.col("recording") == f"van.{suffix}")
        assert same["role"].to_list() == reference["role"].to_list()
        for column in ("angle_deg", "uncertainty_deg"):
            # Formats round samples and times differently, far below any uncertainty.
            assert same[column].to_list() == pytest.approx(reference[column].to_list(), abs=2e-3)


# --- the same whatever measures -----------------------------------------------------------------


def test_the_same_bytes_from_any_workers_in_any_order(recordings, cluster, whole, tmp_path):
    output = tmp_path / "out.parquet"
    run_batch(sources(recordings)[::-1], Plan(), output, scheduler=cluster)
    assert bytes_of(output) == whole[1]
    output = tmp_path / "local.parquet"
    run_batch(sources(recordings), Plan(), output, processes=2)
    assert bytes_of(output) == whole[1]


def test_what_is_done_is_not_done_again(recordings, cluster, whole, tmp_path, monkeypatch):
    copy = tmp_path / "copy"
    shutil.copytree(recordings, copy)
    output = tmp_path / "out.parquet"
    run_batch(sources(copy), Plan(), output, scheduler=cluster)
    before = bytes_of(output)
    measured = []
    measure = work.measure_one
    monkeypatch.setattr(
        work, "measure_one", lambda s, p: (measured.append(s.path), measure(s, p))[1]
    )
    again = run_batch(sources(copy), Plan(), output, scheduler=cluster)
    assert (measured, again.from_before) == ([], 15)
    assert bytes_of(output) == before
    # Changed, new and gone.
    simulated(copy / "van-1" / "00.csv", "van-3", seed=77)
    shutil.copy(copy / "van-1" / "02.csv", copy / "new.csv")
    (copy / "van-2" / "01.csv").unlink()
    third = run_batch(sources(copy), Plan(), output, scheduler=cluster)
    assert sorted(measured) == sorted(map(str, (copy / "new.csv", copy / "van-1" / "00.csv")))
    assert (third.recordings, third.measured, third.from_before) == (15, 12, 13)
    # Another plan measures all anew.
    measured.clear()
    assert run_batch(sources(copy), Plan(crank="crank"), output, scheduler=cluster).measured == 12
    assert len(measured) == 15


def test_failures_of_the_day_are_tried_again(recordings, cluster, tmp_path, monkeypatch):
    few = sources(recordings / "van-1", recordings / "notes.txt")
    output = tmp_path / "out.parquet"

    def broken(_path, _plan):
        raise ZeroDivisionError("by nought")

    with monkeypatch.context() as patch:
        patch.setattr(work, "_measured", broken)
        first = run_batch(few, Plan(), output, scheduler=cluster)
    assert first.failures == {"defect": 7}
    message = pl.read_parquet(first.failed)["message"][0]
    assert "something went wrong inside Crankwise (ZeroDivisionError: by nought)" in message
    second = run_batch(few, Plan(), output, scheduler=cluster)
    assert (second.measured, second.failures, second.from_before) == (6, {"unreadable": 1}, 0)


def test_another_table_is_not_replaced(recordings, cluster, tmp_path):
    output = tmp_path / "out.parquet"
    pl.DataFrame({"a": [1]}).write_parquet(output)
    before = output.read_bytes()
    with pytest.raises(UsageError, match=r"out\.parquet is there already and is no table of a"):
        run_batch(sources(recordings / "van-1"), Plan(), output, scheduler=cluster)
    assert output.read_bytes() == before


# --- ten thousand -------------------------------------------------------------------------------


def test_ten_thousand_with_one_in_a_hundred_broken(recordings, cluster, tmp_path, monkeypatch):
    """Listing, handing out, gathering and writing; measuring is stood in for, as it takes long."""
    for number in range(10_000):
        (tmp_path / f"{number:05d}.csv").write_bytes(b"x" * (number % 7 + 1))
    measurement = document.load(f"{ROOT}/tests/snapshots/inputs/t20.json")

    def quick(path, _plan):
        if int(path.stem) % 100 == 50:
            raise UnreadableError(f"{path.name}: the file is damaged")
        return measurement

    monkeypatch.setattr(work, "_measured", quick)
    told = []
    output = tmp_path / "out.parquet"
    summary = run_batch(
        sources(f"{tmp_path}/*.csv"), Plan(), output, scheduler=cluster, tell=told.append
    )
    assert (summary.recordings, summary.measured) == (10_000, 9_900)
    assert summary.failures == {"unreadable": 100}
    frame = pl.read_parquet(output)
    assert frame["recording"].is_sorted()
    assert frame.group_by("recording").len()["len"].unique().to_list() == [16]
    failed = pl.read_parquet(summary.failed)["recording"].to_list()
    assert failed == [f"{number:05d}.csv" for number in range(50, 10_000, 100)]
    done = [progress.done for progress in told]
    assert done == sorted(done)
    assert (done[0], done[-1], told[-1].failed) == (0, 10_000, 100)
    assert told[-1].left_s == 0.0


def test_one_in_a_hundred_broken_on_two_processes(recordings, tmp_path):
    """The same for real, with as many as a test has time for."""
    base = [path.read_bytes() for path in sorted(recordings.glob("van-*/*.csv"))]
    for number in range(200):
        broken = number % 100 == 50
        data = base[number % 12][:400] if broken else base[number % 12] + b"\n" * (number // 12)
        (tmp_path / f"{number:05d}.csv").write_bytes(data)
    summary = run_batch(sources(f"{tmp_path}/*.csv"), Plan(), tmp_path / "out.parquet", processes=2)
    assert (summary.measured, sum(summary.failures.values())) == (198, 2)


# --- what breaks --------------------------------------------------------------------------------


class Interrupt:
    """Stops a batch once so many recordings are done."""

    def __init__(self, after, act):
        self.after, self.act = after, act

    def __call__(self, progress):
        if progress.done >= self.after:
            self.after = sys.maxsize
            self.act()


def interrupted():
    raise KeyboardInterrupt


def test_stopped_it_goes_on_where_it_was(recordings, cluster, whole, tmp_path):
    output = tmp_path / "out.parquet"
    with pytest.raises(KeyboardInterrupt):
        run_batch(
            sources(recordings), Plan(), output, scheduler=cluster, tell=Interrupt(5, interrupted)
        )
    assert not output.exists()
    [part] = (tmp_path / "out.parquet.parts").iterdir()
    # A part that was cut off while it was written is not there under its name.
    assert not part.name.startswith(".")
    summary = run_batch(sources(recordings), Plan(), output, scheduler=cluster)
    assert 5 <= summary.from_before < 15
    assert bytes_of(output) == whole[1]


def test_a_full_disk_is_told_and_leaves_nothing_half_written(
    recordings, cluster, whole, tmp_path, monkeypatch
):
    monkeypatch.setattr(run, "_KEEP_S", 0.0)
    output = tmp_path / "out.parquet"
    flush, room = os.fsync, [3]

    def full(handle):
        room[0] -= stat.S_ISREG(os.fstat(handle).st_mode)  # folders are flushed too
        if room[0] < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        flush(handle)

    with monkeypatch.context() as patch:
        patch.setattr("crankwise.document.files.os.fsync", full)
        with pytest.raises(UsageError, match=r"can't be written .*No space left.*make room, then"):
            run_batch(sources(recordings), Plan(), output, scheduler=cluster)
    assert [path.name for path in tmp_path.iterdir()] == ["out.parquet.parts"]
    kept = list((tmp_path / "out.parquet.parts").iterdir())
    assert len(kept) == 3
    assert all(len(pl.read_parquet(part)) for part in kept)
    summary = run_batch(sources(recordings), Plan(), output, scheduler=cluster)
    assert summary.from_before >= 3
    assert bytes_of(output) == whole[1]


def test_a_disk_full_at_the_end_keeps_the_parts(recordings, cluster, tmp_path, monkeypatch):
    output = tmp_path / "out.parquet"
    few = sources(recordings / "van-1")
    tables = Tables(output)
    tables.begin(few, Plan())
    tables.keep([work.measure_one(few[0], Plan())])
    monkeypatch.setattr(
        "crankwise.document.files.os.fsync", lambda _h: (_ for _ in ()).throw(OSError(28, "full"))
    )
    with pytest.raises(UsageError, match=r"out\.failures\.parquet can't be written"):
        tables.finish()
    monkeypatch.undo()
    assert not output.exists()
    assert Tables(output).begin(few, Plan()) == {few[0].path}


@contextmanager
def dask_processes(folder):
    """A scheduler and a worker of their own."""
    place = folder / "scheduler.json"
    options = {"env": environment(), "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    dask = [sys.executable, "-m", "dask"]
    scheduler = subprocess.Popen(
        [*dask, "scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
         "--scheduler-file", place], **options,
    )  # fmt: skip
    worker = subprocess.Popen(
        [*dask, "worker", "--scheduler-file", place, "--nthreads", "1", "--no-dashboard",
         "--local-directory", folder / "scratch", "--no-nanny"], **options,
    )  # fmt: skip
    try:
        until = time.monotonic() + ENDED_WITHIN_S
        while not place.exists():
            assert time.monotonic() < until, "the scheduler did not start"
            time.sleep(0.05)
        yield json.loads(place.read_text())["address"], scheduler
    finally:
        for process in (scheduler, worker):
            process.kill()
            process.wait()


def environment(*more):
    path = os.pathsep.join([*map(str, more), f"{ROOT}/src"])
    return os.environ | {"PYTHONPATH": path, "PYTHONIOENCODING": "utf-8"}


def test_a_scheduler_that_goes_is_told_and_what_was_done_is_kept(recordings, whole, tmp_path):
    output = tmp_path / "out.parquet"
    with dask_processes(tmp_path) as (address, scheduler):
        gone = Interrupt(2, scheduler.kill)
        with pytest.raises(UsageError, match=r"the scheduler at tcp://.* has gone; .*goes on"):
            run_batch(sources(recordings), Plan(), output, scheduler=address, tell=gone)
    assert not output.exists()
    summary = run_batch(sources(recordings), Plan(), output, processes=2)
    assert 2 <= summary.from_before < 15
    assert bytes_of(output) == whole[1]


def test_without_a_scheduler_it_says_how_to_start_one(recordings, tmp_path, monkeypatch):
    monkeypatch.setattr("crankwise.batch.cluster._CONNECT_S", 0.5)
    with pytest.raises(UsageError, match=r"no scheduler answers at tcp://127\.0\.0\.1:1: start"):
        run_batch(
            sources(recordings), Plan(), tmp_path / "o.parquet", scheduler="tcp://127.0.0.1:1"
        )


KILLER = textwrap.dedent('''
    """A reader of files that kill the process which reads them: always, or only once."""
    import os, signal
    from dataclasses import replace
    from pathlib import Path
    from crankwise.readers.contract import CERTAIN, NOT_MINE
    from crankwise.readers.delimited import DelimitedReader

    class Killer:
        name, suffixes = "killer", ()

        def sniff(self, head, path):
            return CERTAIN if head.startswith((b"KILL", b"ONCE")) else NOT_MINE

        def read(self, source, options):
            data = source.path.read_bytes()
            mark = Path(os.environ["KILLED"]) / source.name
            if data.startswith(b"KILL") or not mark.exists():
                mark.touch()
                os.kill(os.getpid(), signal.SIGKILL)
            rest = mark.with_suffix(".rest")
            rest.write_bytes(data[5:])
            return DelimitedReader().read(replace(source, path=rest), options)
''')


@pytest.mark.skipif(os.name != "posix", reason="kills by signal")
def test_a_worker_killed_is_replaced_and_its_recording_tried_again(recordings, tmp_path):
    plugin = tmp_path / "plugin"
    (plugin / "killer-1.0.dist-info").mkdir(parents=True)
    (plugin / "killer.py").write_text(KILLER)
    (plugin / "killer-1.0.dist-info" / "METADATA").write_text("Name: killer\nVersion: 1.0\n")
    (plugin / "killer-1.0.dist-info" / "entry_points.txt").write_text(
        "[crankwise.readers]\nkiller = killer:Killer\n"
    )
    shutil.copytree(recordings / "van-1", tmp_path / "in")
    whole = (tmp_path / "in" / "00.csv").read_bytes()
    (tmp_path / "in" / "once.csv").write_bytes(b"ONCE\n" + whole)
    (tmp_path / "in" / "always.csv").write_bytes(b"KILL\n" + whole)
    (tmp_path / "marks").mkdir()
    code = "from crankwise.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, "batch", tmp_path / "in", "-o", tmp_path / "out.parquet",
         "--workers", "2", "--json", "--quiet"],
        env=environment(plugin) | {"KILLED": str(tmp_path / "marks")},
        capture_output=True, text=True, timeout=ENDED_WITHIN_S, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert {path.name for path in (tmp_path / "marks").glob("*.csv")} == {"once.csv", "always.csv"}
    summary = json.loads(done.stdout)
    assert (summary["measured"], summary["failures"]) == (7, {"killed": 1})
    [failure] = pl.read_parquet(tmp_path / "out.failures.parquet").to_dicts()
    assert (failure["recording"], failure["exit_code"]) == ("always.csv", 1)
    assert failure["message"].startswith("the process that measured it was killed twice")
    frame = pl.read_parquet(tmp_path / "out.parquet").select("recording", "angle_deg")
    angles = {name: rows["angle_deg"].to_list() for (name,), rows in frame.group_by("recording")}
    assert angles["once.csv"] == angles["00.csv"]


# --- the command --------------------------------------------------------------------------------


def command(*arguments, timeout=ENDED_WITHIN_S):
    code = "from crankwise.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, "batch", *map(str, arguments)],
        env=environment(), capture_output=True, text=True, timeout=timeout, check=False,
        encoding="utf-8",
    )  # fmt: skip


def test_the_command_tells_what_came_of_it(recordings, whole, tmp_path):
    output = tmp_path / "whole.parquet"
    done = command(recordings, "-o", output, "--workers", 1)
    assert (done.returncode, done.stderr) == (0, "")
    said = " ".join(done.stdout.split())
    assert f"measured 12, {whole[0].edges} cam edges failed 3: not-measurable 1, unr" in said
    assert "passed over 1 saved documents" in said
    assert f"saved: {output}" in done.stdout
    assert bytes_of(output) == whole[1]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["-o", "out.csv"], "end the name in .parquet"),
        (["-o", "no/out.parquet"], "its folder does not exist"),
        (["-o", "s3://bucket/out.parquet"], "the table is written on this computer"),
        (["-o", "o.parquet", "--workers", "2", "--scheduler", "tcp://h:1"], "has workers of its"),
        (["-o", "o.parquet", "--limit", "8"], "say with what, by --reference, --family or"),
    ],
)
def test_what_makes_no_sense_is_refused_before_any_work(recordings, tmp_path, options, said):
    done = command(recordings / "van-1", *options)
    assert done.returncode == 2
    assert said in done.stderr
    assert done.stdout == ""


def test_where_nothing_can_be_measured_the_exit_code_says_so(recordings, tmp_path):
    done = command(recordings / "notes.txt", "-o", tmp_path / "out.parquet", "--quiet")
    assert (done.returncode, done.stdout) == (4, "")
    assert "none of 1 recordings could be measured" in done.stderr
    assert len(pl.read_parquet(tmp_path / "out.failures.parquet")) == 1


def test_without_the_package_it_says_what_to_install(recordings, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    place = str(tmp_path / "out.parquet")
    done = CliRunner().invoke(app, ["batch", str(recordings / "van-1"), "-o", place])
    assert done.exit_code == 3
    assert "batch needs the package distributed: install crankwise[batch]" in done.output
    assert list(tmp_path.iterdir()) == []


def test_a_plan_is_named_by_all_that_changes_results():
    known_good = document.load(f"{ROOT}/tests/snapshots/inputs/t20.json")
    plans = [
        Plan(), Plan(crank="a"), Plan(cams={"intake": "a"}), Plan(interval_s=1e-5),
        Plan(known_goods=(known_good,)), Plan(service_limit_deg=8.0), Plan(version="0"),
    ]  # fmt: skip
    assert len({plan.digest for plan in plans}) == len(plans)
    assert Plan().digest == Plan().digest
    assert Plan(cams={"a": "1", "b": "2"}).digest == Plan(cams={"b": "2", "a": "1"}).digest
