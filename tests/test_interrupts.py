"""Signals in the middle of a real render: one clean end, whatever comes after the first."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

import seatwright
from seatwright.interrupts import SIGNALS, Ending

CLI = [sys.executable, "-m", "seatwright"]


@pytest.fixture
def long_render(minute: Any) -> Iterator[subprocess.Popen[bytes]]:
    """Its render, as soon as it keeps its first blocks."""
    yield from started(minute, [])


def started(stage: Any, wrapper: list[str]) -> Iterator[subprocess.Popen[bytes]]:
    source = str(Path(seatwright.__file__).parents[1])
    child = subprocess.Popen(
        [*wrapper, *CLI, "render", "scene.toml", "--out", "out"],
        cwd=stage.folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": source},
    )
    deadline = time.monotonic() + 30.0
    while not any(stage.folder.glob("out/.seatwright-*.raw")) and time.monotonic() < deadline:
        assert child.poll() is None
        time.sleep(0.02)
    yield child
    child.kill()
    child.communicate()


@pytest.mark.parametrize(
    ("signals", "code", "said"),
    [
        ([signal.SIGINT], 130, "interrupted"),
        ([signal.SIGTERM], 143, "ended by SIGTERM"),
        ([signal.SIGHUP], 129, "ended by SIGHUP"),
        ([signal.SIGINT, signal.SIGINT, signal.SIGINT], 130, "interrupted"),
        ([signal.SIGTERM, signal.SIGINT, signal.SIGHUP], 143, "ended by SIGTERM"),
    ],
    ids=["int", "term", "hup", "int int int", "term int hup"],
)
def test_the_first_signal_ends_it_clean(
    minute: Any,
    long_render: subprocess.Popen[bytes],
    signals: list[signal.Signals],
    code: int,
    said: str,
) -> None:
    for number in signals:
        long_render.send_signal(number)
        time.sleep(0.025)
    out, err = long_render.communicate(timeout=30)
    assert (long_render.returncode, out) == (code, b"")
    assert err.decode() == f"seatwright: {said}, no output is half written\n"
    assert not (minute.folder / "out").exists()


def test_what_a_killed_render_leaves_goes_with_the_next_one(
    minute: Any, long_render: subprocess.Popen[bytes]
) -> None:
    with pytest.raises(Exception, match=rf"another render \(process {long_render.pid}, since "):
        minute.render()
    long_render.kill()
    long_render.communicate(timeout=30)
    assert any(name.endswith(".raw") for name in minute.digests())
    minute.render(only=("s0",), stop=0.1)
    assert not any(name.startswith(".") for name in minute.digests())
    shutil.rmtree(minute.out)


def test_a_signal_that_was_ignored_stays_ignored(minute: Any) -> None:
    """As nohup asks: a terminal that goes away ends nothing."""
    code = "import os, signal, sys\nsignal.signal(signal.SIGHUP, signal.SIG_IGN)\n"
    code += "os.execv(sys.argv[1], sys.argv[1:])\n"
    render = started(minute, [sys.executable, "-c", code])
    child = next(render)
    child.send_signal(signal.SIGHUP)
    time.sleep(0.3)
    assert child.poll() is None
    child.send_signal(signal.SIGTERM)
    child.communicate(timeout=30)
    assert child.returncode == 143
    render.close()


def test_a_lost_exception_is_raised_again_and_handlers_come_back() -> None:
    before = [signal.getsignal(number) for number in SIGNALS]
    with Ending() as ending:
        ending.check()
    assert [signal.getsignal(number) for number in SIGNALS] == before
    try:
        with pytest.raises(SystemExit) as end, ending:
            with suppress(SystemExit):  # lost, as in a finaliser
                signal.raise_signal(signal.SIGTERM)
            signal.raise_signal(signal.SIGINT)
            ending.check()
        assert end.value.code == 143
    finally:
        for number, old in zip(SIGNALS, before, strict=True):
            signal.signal(number, old)
