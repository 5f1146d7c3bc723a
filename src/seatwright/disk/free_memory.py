"""How much memory this process may still take, as far as the system tells."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

if sys.platform != "win32":
    import resource

_PROC = Path("/proc")
_GROUPS = Path("/sys/fs/cgroup")
_AVAILABLE = re.compile(r"^MemAvailable:\s+(\d+) kB", re.M)
_TAKEN = re.compile(r"^VmSize:\s+(\d+) kB", re.M)
_CACHED = re.compile(r"^(?:total_)?inactive_file (\d+)", re.M)
_LIMITS = (
    ("", "memory.max", "memory.current"),
    ("memory", "memory.limit_in_bytes", "memory.usage_in_bytes"),
)
"""Names in version 2 and 1 of Linux's control groups."""


def free_memory() -> int | None:
    """Bytes that can be had: of the machine, of the control group, of the process's own limit.

    Returns
    -------
    int or None
        The least of them; None on a system that tells none.

    Source
    ------
    Linux, proc(5): MemAvailable, an estimate without swapping; cgroups(7).
    """
    found = [*_of_machine(), *_of_groups(), *_of_process()]
    return max(0, min(found)) if found else None


def _of_machine() -> Iterator[int]:
    if available := _AVAILABLE.search(_text(_PROC / "meminfo")):
        yield 1024 * int(available[1])


def _of_groups() -> Iterator[int]:
    """What every group the process is in, and those above it, leave it."""
    for line in _text(_PROC / "self" / "cgroup").splitlines():
        number, _, rest = line.partition(":")
        kinds, _, group = rest.partition(":")
        for controller, limit, usage in _LIMITS:
            if (number == "0" and not kinds) == (controller == "") and controller in kinds:
                root = _GROUPS / controller
                inner = Path(group.lstrip("/"))
                for place in (inner, *inner.parents):
                    yield from _left(root / place, limit, usage)


def _left(group: Path, limit: str, usage: str) -> Iterator[int]:
    most, used = _text(group / limit).strip(), _text(group / usage).strip()
    if most.isdigit() and used.isdigit():
        cached = _CACHED.search(_text(group / "memory.stat"))
        yield int(most) - int(used) + (int(cached[1]) if cached else 0)


def _of_process() -> Iterator[int]:
    if sys.platform == "win32":
        return
    most, _ = resource.getrlimit(resource.RLIMIT_AS)
    taken = _TAKEN.search(_text(_PROC / "self" / "status"))
    if most != resource.RLIM_INFINITY and taken:
        yield most - 1024 * int(taken[1])


def _text(path: Path) -> str:
    with suppress(OSError, ValueError):
        return path.read_text(encoding="ascii", errors="replace")
    return ""
