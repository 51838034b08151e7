"""What every reader promises, as checks that need no test framework.

Use it for a reader of your own::

    from crankwise.testing.reader_contract import check_reader

    check_reader(MyReader(), Path("sample.mine"))

A broken promise raises :class:`BrokenPromiseError` with one sentence.
"""

from __future__ import annotations

import hashlib
import random
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import CrankwiseError
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.readers import Reader, read, stream
from crankwise.readers.contract import HEAD_BYTES

_PART_BYTES = 4096


class BrokenPromiseError(AssertionError):
    """A reader does not keep what the contract promises."""


def check_reader(reader: Reader, path: Path, *, interval_s: float | None = None) -> Recording:
    """Hold a reader to its contract on one file.

    Parameters
    ----------
    reader : Reader
        The reader to check.
    path : Path
        A file it can read.
    interval_s : float, optional
        Sampling interval, if the file doesn't state it.

    Returns
    -------
    Recording
        What was read, for further checks of its content.

    Raises
    ------
    BrokenPromiseError
        Naming the promise that is broken.
    """
    before = path.read_bytes()
    digest = hashlib.sha256(before).hexdigest()
    check_identity(reader)
    check_sniff(reader, path)
    first = read(path, interval_s=interval_s, readers=[reader])
    again = read(path, interval_s=interval_s, readers=[reader])
    _hold(path.read_bytes() == before, "the original file is never changed")
    _hold(first.sha256 == digest, "sha256 is the digest of the original file's bytes")
    _hold(first.name == path.name, "the name is the file name without its folder")
    check_recording(first)
    check_same(first, again)
    check_parts(reader, path, first, interval_s=interval_s)
    check_progress(reader, path, interval_s=interval_s)
    check_damaged(reader, before, path.suffix)
    return first


def check_identity(reader: Reader) -> None:
    """Check name and suffixes."""
    _hold(bool(reader.name.strip()), "a reader has a name")
    for suffix in reader.suffixes:
        is_plain = suffix.startswith(".") and suffix == suffix.lower()
        _hold(is_plain, f"suffixes are lower case with the dot, not '{suffix}'")


def check_sniff(reader: Reader, path: Path) -> None:
    """Check that sniffing knows the file, keeps to its scale, and never raises."""
    head = path.read_bytes()[:HEAD_BYTES]
    _hold(0 < reader.sniff(head, path) <= 100, "sniff knows its own file, with 1 to 100")
    for other in _strange_heads(head):
        try:
            score = reader.sniff(other, Path("nowhere") / "nothing")
        except Exception as error:
            raise BrokenPromiseError(f"sniff raised {error!r} on {other[:20]!r}…") from error
        _hold(0 <= score <= 100, f"a sniff score is 0 to 100, not {score}")


def check_recording(recording: Recording) -> None:
    """Check that a recording is what the model says it is."""
    names = recording.channel_names
    _hold(len(names) > 0, "a recording has channels")
    _hold(len(set(names)) == len(names), "channel names are unique")
    _hold(all(names), "channel names are not empty")
    _hold(recording.duration_s > 0.0, "a recording has a duration")
    _hold(bool(np.isfinite(recording.start_s)), "a recording has a start")
    _hold(any(step.name == "read" for step in recording.history), "the history tells the reading")
    for finding in recording.findings:
        is_kebab = finding.code == finding.code.lower() and " " not in finding.code
        _hold(is_kebab, f"finding codes are kebab-case, not '{finding.code}'")
        _hold(bool(finding.text), "findings have a text")
    if recording.is_event_list:
        _check_events(recording)
    else:
        _check_samples(recording)


def check_same(first: Recording, again: Recording) -> None:
    """Check that two readings of one file are equal."""
    _hold(first.channel_names == again.channel_names, "reading twice gives the same channels")
    _hold(
        (first.start_s, first.duration_s, first.interval_s, first.findings)
        == (again.start_s, again.duration_s, again.interval_s, again.findings),
        "reading twice gives the same time base and findings",
    )
    for name in first.channel_names:
        one, two = _numbers(first.channel(name)), _numbers(again.channel(name))
        is_same = np.array_equal(one, two, equal_nan=True)
        _hold(is_same, f"reading twice gives the same values in '{name}'")


class _Kept:
    """Keeps the samples that are handed on."""

    def begin(self, channels: Sequence[str], *, interval_s: float) -> None:  # noqa: ARG002
        """Begin anew."""
        self.names, self.blocks = tuple(channels), list[list[npt.NDArray[Any]]]()

    def feed(
        self,
        values: Sequence[npt.NDArray[Any]],
        time_s: npt.NDArray[np.float64] | None,  # noqa: ARG002
    ) -> None:
        """Keep a block."""
        self.blocks.append([part.copy() for part in values])


def check_parts(
    reader: Reader, path: Path, whole: Recording, *, interval_s: float | None = None
) -> None:
    """Check that the samples handed on part by part are those of the whole recording."""
    kept = _Kept()
    told = stream(path, kept, interval_s=interval_s, readers=[reader], chunk_bytes=_PART_BYTES)
    _hold(
        (told.channel_names, told.start_s, told.duration_s, told.interval_s, told.findings)
        == (whole.channel_names, whole.start_s, whole.duration_s, whole.interval_s, whole.findings),
        "reading in parts tells what reading the whole does",
    )
    if whole.is_event_list:
        return
    for name in whole.channel_names:
        index = kept.names.index(name)
        joined = np.concatenate([block[index] for block in kept.blocks])
        is_same = np.array_equal(joined, _numbers(whole.channel(name)), equal_nan=True)
        _hold(is_same, f"reading in parts gives the same values in '{name}'")


def _numbers(channel: SampledChannel | EventChannel) -> npt.NDArray[Any]:
    return channel.values if isinstance(channel, SampledChannel) else channel.times_s


def check_progress(reader: Reader, path: Path, *, interval_s: float | None = None) -> None:
    """Check that progress stays in 0 to 1, rises, and ends at 1."""
    seen: list[float] = []
    read(path, interval_s=interval_s, progress=seen.append, readers=[reader])
    _hold(all(0.0 <= fraction <= 1.0 for fraction in seen), "progress is a fraction, 0 to 1")
    _hold(seen == sorted(seen), "progress never goes back")
    _hold(bool(seen) and seen[-1] == 1.0, "progress ends at 1")


def check_damaged(reader: Reader, content: bytes, suffix: str) -> None:
    """Check that cut and scrambled copies are read or refused in one line, nothing else."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"damaged{suffix}"
        for damaged in _damaged_copies(content):
            path.write_bytes(damaged)
            try:
                check_recording(read(path, readers=[reader]))
                stream(path, _Kept(), readers=[reader], chunk_bytes=_PART_BYTES)
            except CrankwiseError as error:
                _hold("\n" not in str(error), "an error message is one line")
            except BrokenPromiseError:
                raise
            except Exception as error:
                raise BrokenPromiseError(f"a damaged file raised {error!r}") from error


def _check_samples(recording: Recording) -> None:
    interval_s = recording.interval_s
    _hold(interval_s is not None and interval_s > 0.0, "samples have an interval")
    lengths = set()
    for channel in recording.channels:
        _hold(isinstance(channel, SampledChannel), "samples and events are never mixed")
        if isinstance(channel, SampledChannel):
            lengths.add(channel.values.shape)
            is_float = channel.values.dtype in (np.float32, np.float64)
            _hold(is_float, f"values are float32 or float64, not {channel.values.dtype}")
    _hold(len(lengths) == 1, "all channels have the same number of samples")
    (shape,) = lengths
    _hold(len(shape) == 1 and shape[0] > 1, "channels are vectors with several samples")
    if recording.time_s is not None:
        _hold(recording.time_s.shape == shape, "times and samples have the same number")
        _hold(bool(np.all(np.diff(recording.time_s) > 0.0)), "times increase strictly")
    elif interval_s is not None:
        expected_s = (shape[0] - 1) * interval_s
        is_near = abs(recording.duration_s - expected_s) <= 1e-9 * expected_s
        _hold(is_near, "the duration is the number of steps times the interval")


def _check_events(recording: Recording) -> None:
    end_s = recording.start_s + recording.duration_s
    slack_s = 1e-9 * max(abs(end_s), recording.duration_s)
    for channel in recording.channels:
        _hold(isinstance(channel, EventChannel), "samples and events are never mixed")
        if not isinstance(channel, EventChannel):
            continue
        times_s, states = channel.times_s, channel.states
        _hold(times_s.dtype == np.float64, "event times are float64")
        _hold(states.dtype == np.bool_, "event states are booleans")
        _hold(times_s.shape == states.shape, "each event has a state")
        _hold(bool(np.all(np.diff(times_s) > 0.0)), "event times increase strictly")
        before = np.concatenate(([channel.initial_state], states[:-1]))
        _hold(bool(np.all(before != states)), "each event changes the state")
        if len(times_s):
            is_inside = recording.start_s - slack_s <= times_s[0] and times_s[-1] <= end_s + slack_s
            _hold(bool(is_inside), "events lie inside the recording")


def _strange_heads(head: bytes) -> Iterable[bytes]:
    generator = random.Random(20)  # noqa: S311 - repeatable, not secret
    yield from (
        b"",
        b"\0",
        b"\n",
        b"\xff\xfe",
        b"\xef\xbb\xbf",
        b"PK\x03\x04",
        b"\x1f\x8b",
        b"$var",
    )
    yield from (b",;\t|", b'"' * 50, b"1\n", b"\xff" * 4096, b"1,2\n" * 5000, b" " * 1000)
    for size in (1, 2, 7, 64, 4096, HEAD_BYTES):
        yield generator.randbytes(size)
    for size in (1, 5, 20, len(head) // 2):
        yield head[:size]


def _damaged_copies(content: bytes) -> Iterable[bytes]:
    generator = random.Random(21)  # noqa: S311 - repeatable, not secret
    size = len(content)
    yield from (content[: size // 2], content[: size - 3], content[: min(size, 200)])
    for _ in range(3):
        scrambled = bytearray(content)
        for _ in range(1 + size // 500):
            scrambled[generator.randrange(size)] = generator.randrange(256)
        yield bytes(scrambled)
    place = size // 3
    yield content[:place] + content[place + max(1, size // 10) :]


def _hold(is_kept: bool, promise: str) -> None:  # noqa: FBT001 - reads like an assertion
    if not is_kept:
        raise BrokenPromiseError(f"broken promise: {promise}")
