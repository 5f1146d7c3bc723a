"""What a terminal shows while a render runs: a bar with the time left, on standard error."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress_bar() -> Iterator[Callable[[str, float], None]]:
    """A progress bar; silent where standard error is not a terminal.

    Yields
    ------
    callable
        Takes what is being done and how much of it is done, 0 to 1.
    """
    if not sys.stderr.isatty():
        yield lambda _what, _share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda what, share: bar.update(task, description=what, completed=share)
