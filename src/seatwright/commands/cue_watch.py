"""What is shown while many cues are rendered: one bar over all, or a line for each that ended."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

from seatwright.interrupts import ENDING

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

    from seatwright.views.cue_table import CueRow


class CueLines:
    """Says a line on standard error for each cue that ended, and every fault.

    Parameters
    ----------
    count : int
        Cues in all.
    """

    def __init__(self, count: int):
        self._count, self._ended = count, 0

    def progress(self, number: int, what: str, share: float) -> None:
        """Only a chance for signals to end it."""
        ENDING.check()

    def again(self, number: int, row: CueRow) -> None:
        """Say what will be tried again, and why."""
        self.say_faults(row)
        self._say(f"{row.scene}: tried once more")

    def ended(self, number: int, row: CueRow) -> None:
        """Say whether the cue is done."""
        self._ended += 1
        self.say_faults(row)
        seconds = f" in {row.seconds:.1f} s" if row.tries else ""
        self._say(f"{row.scene}: {row.state}{seconds} ({self._ended} of {self._count})")

    def say_faults(self, row: CueRow) -> None:
        """Every fault as a command that renders one scene says it."""
        for fault in row.faults:
            self._say(f"seatwright: {fault}")

    def _say(self, text: str) -> None:
        from seatwright.errors import printable

        typer.echo(printable(text), err=True)


class CueBar(CueLines):
    """Moves one bar over all cues; says faults above it.

    Parameters
    ----------
    count : int
    bar : rich.progress.Progress
    task : int
        The bar's only task, with a total of 1.
    """

    def __init__(self, count: int, bar: Progress, task: TaskID):
        super().__init__(count)
        self._bar, self._task = bar, task
        self._shares = [0.0] * count

    def progress(self, number: int, what: str, share: float) -> None:
        """Move the bar."""
        super().progress(number, what, share)
        self._shares[number] = share
        self._show(what)

    def ended(self, number: int, row: CueRow) -> None:
        """Count the cue, whatever became of it."""
        self._ended += 1
        self._shares[number] = 1.0
        self.say_faults(row)
        self._show("rendering")

    def _show(self, what: str) -> None:
        done = sum(self._shares) / self._count
        text = f"{what}, {self._ended} of {self._count} scenes ended"
        self._bar.update(self._task, description=text, completed=done)

    def _say(self, text: str) -> None:
        from rich.text import Text

        from seatwright.errors import printable

        self._bar.console.print(Text(printable(text)), soft_wrap=True)


@contextmanager
def cue_watch(count: int) -> Iterator[CueLines]:
    """Show how many cues go on: a bar on a terminal, lines elsewhere.

    Yields
    ------
    CueLines
    """
    if not sys.stderr.isatty():
        yield CueLines(count)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        yield CueBar(count, bar, bar.add_task("checking", total=1.0))
