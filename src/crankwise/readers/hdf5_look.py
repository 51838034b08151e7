"""A damaged HDF5 file can end or hang the process that reads it: another one looks first.

The library follows what a file says of its groups, attributes and texts, also where that is torn:
some such files end the process, others keep it busy for ever. A process of its own goes the same
way first; if it does not come back, the file is refused. Numbers are left to the reader itself.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Final

from crankwise.readers.contract import Source

_LONGEST_S: Final = 10.0
_NORMAL_ENDS: Final = (0, 1)
"""Done, or an error of Python, which the reader meets again and can tell."""
_WALK: Final = Path(__file__).with_name("hdf5_walk.py")


def look_first(source: Source) -> None:
    """Have another process walk through groups, attributes and texts.

    Raises
    ------
    ValueError
        It was ended by the file, or did not come to an end.
    """
    try:
        done = subprocess.run(  # noqa: S603  this Python, and a program of ours
            [sys.executable, "-P", str(_WALK), str(source.path.absolute())],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            timeout=_LONGEST_S, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise ValueError("it has no end") from None
    if done.returncode not in _NORMAL_ENDS:
        raise ValueError("it is torn inside")
