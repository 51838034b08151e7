"""Progress on the terminal: only where someone watches, and only if it takes long."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING, Final, Self

from crankwise.language import told

if TYPE_CHECKING:
    from types import TracebackType

    from rich.progress import Progress, TaskID

_PATIENCE_S: Final = 0.6


class Bar:
    """A progress bar on stderr."""

    def __init__(self, label: str, *, shown: bool) -> None:
        self._label = label
        self._shown = shown and sys.stderr.isatty()
        self._started = time.monotonic()
        self._progress: Progress | None = None
        self._task: TaskID | None = None

    def step(self, label: str, fraction: float) -> None:
        """Show which step is at work, and that this fraction (0 to 1) of all is done."""
        self._label = told(label[:1].upper() + label[1:])
        self(fraction)

    def __call__(self, fraction: float) -> None:
        """Show that this fraction (0 to 1) is done."""
        if not self._shown or time.monotonic() - self._started < _PATIENCE_S:
            return
        if self._progress is None:
            from rich.console import Console  # noqa: PLC0415  rarely needed
            from rich.progress import Progress  # noqa: PLC0415  rarely needed

            self._progress = Progress(console=Console(stderr=True), transient=True)
            self._progress.start()
            self._task = self._progress.add_task(self._label, total=1.0)
        if self._task is not None:
            self._progress.update(self._task, completed=fraction, description=self._label)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._progress is not None:
            self._progress.stop()
