"""What a power cut leaves on a disk, told from the system calls that a program made.

After SQLite's documentation ("How SQLite Is Tested", 3.3 Crash Tests; "Atomic Commit In SQLite",
2.0 Hardware Assumptions): what was flushed stays, whatever else was written may be there, in part,
or not, in any order, page by page. Names are like content: a new name in a folder, or one that is
gone, is safe only once the folder was flushed (fsync(2): "does not necessarily ensure that the
entry in the directory containing the file has also reached disk"); those of one folder come in
their order, as journalling file systems keep it.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

PAGE_BYTES: Final = 4096
CALLS: Final = (
    "openat", "write", "pwrite64", "lseek", "fsync", "fdatasync", "ftruncate", "rename", "unlink",
    "unlinkat", "rmdir", "mkdir", "close",
)  # fmt: skip
_LINE: Final = re.compile(r"^(?:\d+ +)?(\w+)\((.*)\) += (-?\d+)")
_TEXT: Final = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')
_HANDLE: Final = re.compile(r"^(?:AT_FDCWD|(\d+))<")


@dataclass(frozen=True, slots=True)
class Call:
    """One system call that came to its end: name, handle, its texts, the rest, what it gave."""

    name: str
    handle: int | None
    texts: tuple[bytes, ...]
    rest: str
    gave: int


def traced(command: Sequence[str], log: Path) -> list[Call]:
    """Run a command under strace and return its calls on files, in their order.

    Raises
    ------
    subprocess.CalledProcessError
        The command failed.
    """
    options = ("-f", "-y", "-xx", "-s", "16000000", "-e", f"trace={','.join(CALLS)}")
    subprocess.run(
        ["strace", *options, "-o", str(log), *command],  # noqa: S607  wherever it is
        check=True, capture_output=True,
    )  # fmt: skip
    return list(_calls(log.read_text(encoding="ascii").splitlines()))


def _calls(lines: Sequence[str]) -> Iterator[Call]:
    begun: dict[str, str] = {}
    for line in lines:
        process = line.split(" ", 1)[0]
        whole = line
        if "<unfinished ...>" in line:
            begun[process] = line.split("<unfinished ...>")[0].rstrip()
            continue
        if " resumed>" in line:
            whole = begun.pop(process) + line.split(" resumed>", 1)[1]
        match = _LINE.match(whole)
        if match is None or int(match[3]) < 0:
            continue
        handle = _HANDLE.match(match[2])
        texts = tuple(bytes.fromhex(text.replace("\\x", "")) for text in _TEXT.findall(match[2]))
        rest = _TEXT.sub("", match[2])
        number = int(handle[1]) if handle and handle[1] else None
        yield Call(match[1], number, texts, rest, int(match[3]))


@dataclass(slots=True)
class _File:
    """Content that was flushed, and what was written since: place and bytes, or a new length."""

    flushed: bytearray
    since: list[tuple[int, bytes | None]] = field(default_factory=list)

    def flush(self) -> None:
        """All that was written is on the disk."""
        self.flushed = _written(self.flushed, self.since)
        self.since = []

    @property
    def size(self) -> int:
        """Length as programs see it."""
        return len(_written(self.flushed, self.since))


@dataclass(slots=True)
class _Handle:
    path: str
    file: _File | None
    at: int = 0


class Disk:
    """A folder as it was, and the calls made on it since.

    Parameters
    ----------
    root : str
        The folder; everything else is left out.
    before : Path
        A copy of it as it was before the first call.
    """

    def __init__(self, root: str, before: Path) -> None:
        self._root = root
        self._files: dict[str, _File | None] = {}
        for path in before.rglob("*"):
            content = _File(bytearray(path.read_bytes())) if path.is_file() else None
            self._files[f"{root}/{path.relative_to(before).as_posix()}"] = content
        self._safe = dict(self._files)
        self._names: dict[str, list[tuple[str, bool, _File | None]]] = {}
        self._handles: dict[int, _Handle] = {}

    def take(self, call: Call) -> None:
        """Take in the next call."""
        if call.name == "openat":
            self._open(call)
        elif call.name == "close" and call.handle is not None:
            self._handles.pop(call.handle, None)
        elif call.handle is not None and call.name != "unlinkat":
            handle = self._handles.get(call.handle)
            if handle is not None:
                self._on_handle(handle, call)
        else:
            self._on_names(call)

    def _open(self, call: Call) -> None:
        path = self._path(call)
        self._handles.pop(call.gave, None)
        if not self._is_ours(path):
            return
        if path != self._root and path not in self._files and "O_CREAT" in call.rest:
            self._name(path, there=True, file=_File(bytearray()))
        file = self._files.get(path)
        if file is not None and "O_TRUNC" in call.rest:
            file.since.append((0, None))
        at = file.size if file is not None and "O_APPEND" in call.rest else 0
        self._handles[call.gave] = _Handle(path, file, at)

    def _on_handle(self, handle: _Handle, call: Call) -> None:
        file = handle.file
        if call.name in ("fsync", "fdatasync"):
            if file is not None:
                file.flush()
            else:
                self._flush_names(handle.path)
        elif file is None:
            return
        elif call.name == "lseek":
            handle.at = call.gave
        elif call.name == "write":
            file.since.append((handle.at, call.texts[0][: call.gave]))
            handle.at += call.gave
        elif call.name == "pwrite64":
            place = int(call.rest.rsplit(",", 1)[1])
            file.since.append((place, call.texts[0][: call.gave]))
        elif call.name == "ftruncate":
            file.since.append((int(call.rest.rsplit(",", 1)[1]), None))

    def _on_names(self, call: Call) -> None:
        if not call.texts:
            return
        path = self._path(call)
        if not self._is_ours(path):
            return
        if call.name == "mkdir":
            self._name(path, there=True, file=None)
        elif call.name in ("unlink", "unlinkat", "rmdir"):
            self._name(path, there=False, file=None)
        elif call.name == "rename":
            target = call.texts[1].decode()
            for old in [one for one in self._files if one == path or one.startswith(f"{path}/")]:
                file = self._files[old]
                self._name(target + old.removeprefix(path), there=True, file=file)
                self._name(old, there=False, file=None)

    def _path(self, call: Call) -> str:
        """Absolute path that a call names, be it within a folder that is open."""
        path = call.texts[0].decode()
        folder = None if call.handle is None else self._handles.get(call.handle)
        return path if folder is None or path.startswith("/") else f"{folder.path}/{path}"

    def _is_ours(self, path: str) -> bool:
        """Whether a path is of this folder; the index of the log is made anew after a cut."""
        return path.startswith(self._root) and not path.endswith("-shm")

    def _name(self, path: str, *, there: bool, file: _File | None) -> None:
        if there:
            self._files[path] = file
        else:
            self._files.pop(path, None)
        self._names.setdefault(path.rpartition("/")[0], []).append((path, there, file))

    def _flush_names(self, folder: str) -> None:
        _named(self._safe, self._names.pop(folder, []))

    def cut(self, chance: np.random.Generator, target: Path) -> None:
        """Write into a new folder what the disk may hold if the power goes now."""
        left = dict(self._safe)
        for names in self._names.values():
            _named(left, names[: chance.integers(0, len(names) + 1)])
        target.mkdir()
        for path in sorted(left):
            place = target / path.removeprefix(f"{self._root}/")
            file = left[path]
            if not place.parent.is_dir():
                continue  # the folder it is in was lost
            if file is None:
                place.mkdir(exist_ok=True)
            else:
                place.write_bytes(_written(file.flushed, list(_left_of(file.since, chance))))


def _named(
    names: dict[str, _File | None], changes: Sequence[tuple[str, bool, _File | None]]
) -> None:
    for path, there, file in changes:
        if there:
            names[path] = file
        else:
            names.pop(path, None)


def _written(content: bytes | bytearray, writes: Sequence[tuple[int, bytes | None]]) -> bytearray:
    result = bytearray(content)
    for place, data in writes:
        end = place if data is None else place + len(data)
        if len(result) < end:
            result += bytes(end - len(result))
        if data is None:
            del result[place:]
        else:
            result[place:end] = data
    return result


def _left_of(
    writes: Sequence[tuple[int, bytes | None]], chance: np.random.Generator
) -> Iterator[tuple[int, bytes | None]]:
    """What of the writes that were not flushed is on the disk: all, a beginning, or any pages."""
    manner = chance.integers(0, 4)
    if manner == 0:  # all
        yield from writes
    elif manner == 1 and writes:  # a beginning, the last of it torn
        count = int(chance.integers(0, len(writes)))
        yield from writes[:count]
        place, data = writes[count]
        if data is not None:
            yield place, data[: chance.integers(0, len(data) + 1)]
    elif manner == 2:  # any pages
        for place, data in writes:
            if data is None:
                if chance.random() < 0.5:
                    yield place, None
                continue
            for begin in range(0, len(data), PAGE_BYTES):
                if chance.random() < 0.5:
                    yield place + begin, data[begin : begin + PAGE_BYTES]
