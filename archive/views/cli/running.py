"""Progress of long work: a bar with time left on a terminal, plain lines in a pipe."""

from __future__ import annotations

import sys
import time
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TaskProgressColumn, TextColumn, TimeRemainingColumn

_EVERY = 10.0


class Running:
    """Told of stages and counts; shows them on the error stream, so that results stay clean."""

    def __init__(self, *, quiet: bool = False) -> None:
        self._quiet = quiet
        self._console = Console(stderr=True)
        self._bar: Progress | None = None
        self._task: TaskID | None = None
        self._stage = ""
        self._told = 0.0

    def __enter__(self) -> Running:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.pause()

    def pause(self) -> None:
        """Take the bar off the screen, so that a result can be printed; work told of later shows it again."""
        if self._bar is not None:
            self._bar.stop()
            self._bar, self._task = None, None

    def __call__(self, stage: str, done: int, total: int) -> None:
        if self._quiet:
            return
        if self._console.is_terminal:
            self._show(stage, done, total)
        else:
            self._line(stage, done, total)

    def _show(self, stage: str, done: int, total: int) -> None:
        if self._bar is None:
            self._bar = Progress(
                TextColumn("{task.description}"),
                BarColumn(bar_width=30),
                TaskProgressColumn(),
                TimeRemainingColumn(),
                console=self._console,
                transient=True,
            )
            self._bar.start()
        if stage != self._stage or self._task is None:
            if self._task is not None:
                self._bar.remove_task(self._task)
            self._task = self._bar.add_task(stage, total=max(total, 1))
            self._stage = stage
        self._bar.update(self._task, completed=done, total=max(total, 1))

    def _line(self, stage: str, done: int, total: int) -> None:
        now = time.monotonic()
        if stage != self._stage:
            self._stage = stage
            self._told = now
        elif now - self._told >= _EVERY and total:
            self._told = now
            print(f"{stage}: {100 * done // total} %", file=sys.stderr, flush=True)
