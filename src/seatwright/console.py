"""What a terminal shows and asks: a bar with the time left, questions about names."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from time import monotonic
from typing import TYPE_CHECKING

from seatwright.interrupts import ENDING

if TYPE_CHECKING:
    from seatwright.stage.naming import NameGuess

_REDRAWN_SECONDS = 0.1


@contextmanager
def progress_bar() -> Iterator[Callable[[str, float], None]]:
    """A progress bar; silent where standard error is not a terminal.

    Yields
    ------
    callable
        Takes what is being done and how much of it is done, 0 to 1.
    """
    if not sys.stderr.isatty():
        yield lambda _what, _share: ENDING.check()
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    console = Console(stderr=True)
    # no thread of its own: work is shared out among copies only where there is no other
    with Progress(*columns, console=console, transient=True, auto_refresh=False) as bar:
        task = bar.add_task("reading", total=1.0)
        drawn = monotonic()

        def show(what: str, share: float) -> None:
            nonlocal drawn
            ENDING.check()
            due = monotonic() - drawn > _REDRAWN_SECONDS
            drawn = monotonic() if due else drawn
            bar.update(task, description=what, completed=share, refresh=due)

        yield show


def asked_part(guess: NameGuess) -> str:
    """Ask on the terminal what a name means; "" where it stays open.

    Parameters
    ----------
    guess : NameGuess
        With the parts it can mean, or with none: then any known name is taken.
    """
    import typer

    from seatwright.errors import printable
    from seatwright.stage.naming import read_name

    said = f", {printable(guess.why)}" if guess.why else ""
    typer.echo(f"{printable(guess.name)}{said}:", err=True)
    for number, part in enumerate(guess.candidates, start=1):
        typer.echo(f"  {number} {part}", err=True)
    wanted = "number or instrument" if guess.candidates else "which instrument"
    while answer := typer.prompt(
        f"{wanted}, Enter to leave it open", default="", err=True, show_default=False
    ):
        if answer.isdigit() and 1 <= int(answer) <= len(guess.candidates):
            return guess.candidates[int(answer) - 1]
        if part := read_name(answer).part:
            return part
        typer.echo(f"found no instrument in {printable(answer)}", err=True)
    return ""
