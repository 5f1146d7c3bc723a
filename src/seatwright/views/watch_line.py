"""One line a render: when, what was changed, how long it took, how loud it is; its warnings."""

from __future__ import annotations

from collections.abc import Sequence

from seatwright.errors import Fault, printable

NAMED_CHANGES = 4
NAMED_WARNINGS = 3


def render_line(
    at: str,
    changes: Sequence[str],
    seconds: float,
    loudness: float,
    new_trim_db: float | None = None,
    warnings: str = "",
) -> str:
    """What a finished render says.

    Parameters
    ----------
    at : str
        Time of day, such as 14:02:11.
    changes : sequence of str
        The most telling first.
    seconds : float
        From its begin to its report.
    loudness : float
        Of the mix in LUFS; -inf where it is silent.
    new_trim_db : float or None
        A trim that is not that of the render before, in dB.
    warnings : str
        How many there are, as `warning_words` says; "" for none.

    Returns
    -------
    str
        Without a line end.
    """
    loud = f"{loudness:.1f} LUFS" if loudness > float("-inf") else "silence"
    parts = [f"rendered in {_seconds(seconds)}", loud]
    if new_trim_db is not None:
        parts.append(f"trim now {new_trim_db:+.2f} dB")
    if warnings:
        parts.append(warnings)
    return stamped(at, f"{_named(changes)}: {', '.join(parts)}")


def new_warnings(warnings: Sequence[str], before: Sequence[str] | None) -> list[str]:
    """Those that the report before had not.

    Parameters
    ----------
    warnings : sequence of str
    before : sequence of str or None
        Of the report before; None where there is none.
    """
    return [warning for warning in warnings if warning not in (before or ())]


def warning_words(warnings: Sequence[str], before: Sequence[str] | None) -> str:
    """How many warnings a report holds, or how many are new; else as `new_warnings`."""
    count = len(new_warnings(warnings, before))
    if not count:
        return ""
    what = "warning" if count == 1 else "warnings"
    return f"{count}{' new' if before is not None else ''} {what}"


def warning_lines(warnings: Sequence[str], before: Sequence[str] | None) -> list[str]:
    """The warnings that `warning_words` counts: the first ones whole, the rest by number."""
    fresh = new_warnings(warnings, before)
    lines = [f"  {printable(warning)}" for warning in fresh[:NAMED_WARNINGS]]
    more = len(fresh) - NAMED_WARNINGS
    return [*lines, f"  and {more} more in report.txt"] if more > 0 else lines


def stamped(at: str, text: str) -> str:
    """A line with its time of day, safe for a terminal."""
    return printable(f"{at} {text}")


def fault_lines(at: str, faults: Sequence[Fault], until: str) -> list[str]:
    """Every fault of a scene that cannot be rendered, and what is waited for."""
    count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
    return [stamped(at, f"not rendered, {count}; {until}"), *(f"  {fault}" for fault in faults)]


def _named(changes: Sequence[str]) -> str:
    more = len(changes) - NAMED_CHANGES
    if more <= 1:
        return "; ".join(changes)
    return "; ".join(changes[:NAMED_CHANGES]) + f"; {more} more changes"


def _seconds(seconds: float) -> str:
    return f"{seconds:.1f} s" if seconds < 100 else f"{seconds:.0f} s"
