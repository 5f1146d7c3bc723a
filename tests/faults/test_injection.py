"""One call of a render refused by the disk, whichever: all old outputs stay, or all new are there.

By default a part of the calls; SEATWRIGHT_EVERY_CALL=1 refuses each once, =3 each with every error.
"""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from seatwright.cli import main
from seatwright.disk.render_lock import LOCK_NAME
from seatwright.verify import verify

ERRORS = (errno.ENOSPC, errno.EIO, errno.EACCES)
EVERY = int(os.environ.get("SEATWRIGHT_EVERY_CALL", "0"))
AT_MOST = 60


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, list[str]]:
    with pytest.raises(SystemExit) as end:
        main(list(arguments))
    told = capsys.readouterr()
    return int(end.value.code or 0), [line for line in told.err.splitlines() if line]


def arguments_of(kind: str) -> list[str]:
    extra = ["--format", "flac"] if kind == "flac" else []
    return ["render", "scene.toml", "--out", "out", "--threads", "1", "--trim", "-6", *extra]


def outputs_in(stage: Any) -> dict[str, str]:
    """Every file but the lock's, which holds nothing without its process."""
    return {name: one for name, one in stage.digests().items() if name != LOCK_NAME}


def tried(calls: list[str], few: bool) -> list[tuple[int, int]]:
    """Which call is refused with which error."""
    if EVERY:
        return [
            (number, ERRORS[(number + more) % 3])
            for number in range(len(calls))
            for more in range(EVERY)
        ]
    spread = range(3, len(calls), max(1, len(calls) // 8))
    if few:
        return [(number, ERRORS[number % 3]) for number in spread]
    kinds = {name.split()[0]: number for number, name in reversed(list(enumerate(calls)))}
    begun = next(number for number, name in enumerate(calls) if name.startswith("link"))
    numbers = sorted({*kinds.values(), *spread, *range(begun, len(calls), 6)})
    return [(number, ERRORS[number % 3]) for number in numbers]


@pytest.mark.parametrize("kind", ["wav", "flac"])
@pytest.mark.parametrize("earlier", ["an earlier render", "nothing"])
def test_any_call_refused(
    quick: Any,
    refusing: Any,
    capsys: pytest.CaptureFixture[str],
    kind: str,
    earlier: str,
) -> None:
    before = quick.folder / "before"
    if earlier != "nothing":
        quick.render("before", stems=True)
        shutil.copytree(before, quick.out)
    old = outputs_in(quick) if earlier != "nothing" else {}
    calls = refusing(quick.folder / "out", lambda: run(capsys, *arguments_of(kind)))[1]
    new = outputs_in(quick)
    assert verify(Path("out")).holds and new != old
    ends = {"old": 0, "new": 0}
    chosen = tried(calls, few=kind == "flac" or not old)
    for number, error in chosen:
        shutil.rmtree(quick.out, ignore_errors=True)
        if old:
            shutil.copytree(before, quick.out)
        (code, lines), seen = refusing(
            quick.folder / "out", lambda: run(capsys, *arguments_of(kind)), number, error
        )
        assert len(seen) > number  # it came to that call
        where = f"call {number}, {seen[number]}, {os.strerror(error)}: {lines}"
        found = outputs_in(quick) if quick.out.exists() else {}
        assert code == (4 if len(lines) and "written to" not in lines[0] else 0), where
        assert len(lines) == 1, where
        assert found in (old, new), f"{where}\n{sorted(found)}"
        if code == 0:
            assert found == new, where
        else:
            assert lines[0].startswith("seatwright: "), where
        if found:
            assert verify(Path("out")).holds, where
        ends["new" if found == new else "old"] += 1
    print(f"{kind}, {earlier}: {len(calls)} calls, {len(chosen)} refused, {ends}")
    assert min(ends.values()) > 0
