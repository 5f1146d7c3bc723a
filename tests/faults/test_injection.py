"""One call of a render refused by the disk, whichever: all old outputs stay, or all new are there.

By default a part of the calls; SEATWRIGHT_EVERY_CALL=1 refuses each once, =3 each with every error.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
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


def refuse_each(
    stage: Any, refusing: Any, before: Path | None, few: bool, once: Callable[[], Any]
) -> dict[str, int]:
    """Render over a copy of an earlier render, each time with another call refused."""

    def prepare() -> None:
        shutil.rmtree(stage.out, ignore_errors=True)
        if before is not None:
            shutil.copytree(before, stage.out)

    prepare()
    old = outputs_in(stage) if before is not None else {}
    calls = refusing(stage.out, once)[1]
    new = outputs_in(stage)
    assert verify(Path("out")).holds and new != old
    ends = {"calls": len(calls), "old": 0, "new": 0}
    for number, error in tried(calls, few):
        prepare()
        (code, lines), seen = refusing(stage.out, once, number, error)
        assert len(seen) > number  # it came to that call
        where = f"call {number}, {seen[number]}, {os.strerror(error)}: {lines}"
        found = outputs_in(stage) if stage.out.exists() else {}
        assert len(lines) == 1, where
        assert code == (0 if "written to" in lines[0] else 4), where
        assert code == 0 or lines[0].startswith("seatwright: "), where
        assert found in ((old, new) if code else (new,)), f"{where}\n{sorted(found)}"
        assert not found or verify(Path("out")).holds, where
        ends["new" if found == new else "old"] += 1
    return ends


@pytest.mark.parametrize("kind", ["wav", "flac"])
@pytest.mark.parametrize("earlier", [True, False])
def test_any_call_refused(
    quick: Any, refusing: Any, capsys: pytest.CaptureFixture[str], kind: str, earlier: bool
) -> None:
    if earlier:
        quick.render("before", stems=True)
    ends = refuse_each(
        quick,
        refusing,
        quick.folder / "before" if earlier else None,
        kind == "flac" or not earlier,
        lambda: run(capsys, *arguments_of(kind)),
    )
    print(f"{kind}, {'over an earlier render' if earlier else 'into no folder'}: {ends}")
    assert ends["old"] and ends["new"]


def test_any_call_refused_where_some_outputs_stand(
    quick: Any,
    refusing: Any,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With a store of results only what changed is written; the rest must stay as well."""
    monkeypatch.setenv("SEATWRIGHT_STORE", str(quick.folder / "store"))
    arguments = [*arguments_of("wav"), "--stems"]
    assert run(capsys, *arguments)[0] == 0
    before = quick.out.rename(quick.folder / "before")
    quick.scene.write_text(f"{quick.scene.read_text()}gain = -3\n")
    ends = refuse_each(quick, refusing, before, True, lambda: run(capsys, *arguments))
    same = [file for file, one in quick.digests("before").items() if quick.digests()[file] == one]
    print(f"with a store: {ends}")
    assert same == ["stems/flute.wav", "stems/oboe.wav"]
    assert ends["old"] and ends["new"]
