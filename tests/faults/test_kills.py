"""Renders killed at seeded moments, also while outputs are written and put in place.

Five by default; as many as SEATWRIGHT_KILLS says.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

import seatwright
from seatwright.cli import main
from seatwright.disk.leftovers import JOURNAL_NAME
from seatwright.disk.store import Store
from seatwright.verify import verify

KILLS = int(os.environ.get("SEATWRIGHT_KILLS", "5"))
MOMENTS = ("exchange", "writing", "any")
RENDER = ["render", "scene.toml", "--out", "out", "--threads", "1", "--trim", "-6"]


def begun(stage: Any) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "seatwright", *RENDER],
        cwd=stage.folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(Path(seatwright.__file__).parents[1])},
    )


def seen(stage: Any, moment: str) -> bool:
    names = [path.name for path in (*stage.out.glob(".*"), *stage.out.glob("sections/.*"))]
    if moment == "exchange":
        return JOURNAL_NAME in names
    return any(name.endswith(".part") for name in names)


def killed(stage: Any, moment: str, chance: random.Random, seconds: float) -> bool:
    """Begin a render and kill it; whether it was still at work."""
    child = begun(stage)
    if moment == "any":
        time.sleep(chance.uniform(0.3, 1.0) * seconds)
    else:
        while child.poll() is None and not seen(stage, moment):
            time.sleep(0.0005)
        time.sleep(chance.uniform(0.0, 0.03 if moment == "exchange" else 0.08))
    child.kill()
    return child.wait(timeout=60) == -9


def rendered_again(stage: Any) -> dict[str, str]:
    with pytest.raises(SystemExit) as end:
        main(RENDER)
    assert not end.value.code
    return dict(stage.digests())


@pytest.mark.parametrize("with_store", [False, True])
def test_a_killed_render_is_undone_or_whole_and_the_next_one_is_as_if_nothing_was(
    quick: Any,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    with_store: bool,
) -> None:
    """With a store too, which half of the renders find empty; it never holds half a result."""
    store = quick.folder / "results"
    before = quick.folder / "before"
    quick.render("before", stems=True)
    shutil.copytree(before, quick.out)
    wanted = rendered_again(quick)
    wanted_over_itself = rendered_again(quick)
    start = time.monotonic()
    begun(quick).wait(timeout=60)
    seconds = time.monotonic() - start
    monkeypatch.setenv("SEATWRIGHT_STORE", str(store) if with_store else "")
    ends = {"at work": 0, "exchanging": 0, "mixed until the next": 0, "ended": 0}
    for number in range(KILLS):
        chance = random.Random(number)
        if number % 2:
            shutil.rmtree(store, ignore_errors=True)
        shutil.rmtree(quick.out)
        shutil.copytree(before, quick.out)
        at_work = killed(quick, MOMENTS[number % len(MOMENTS)], chance, seconds)
        listed = json.loads((quick.out / "report.json").read_text())["outputs"]
        assert all((quick.out / row["file"]).is_file() for row in listed), number
        assert not with_store or Store(store).damaged() == (), number
        exchanging = (quick.out / JOURNAL_NAME).exists()
        holds = verify(quick.out).holds
        assert holds or exchanging, number
        ends["at work" if at_work else "ended"] += 1
        ends["exchanging"] += exchanging
        ends["mixed until the next"] += not holds
        assert rendered_again(quick) in (wanted, wanted_over_itself), number
        assert verify(quick.out).holds and not verify(quick.out).warnings, number
    capsys.readouterr()
    print(f"{KILLS} kills {'with' if with_store else 'without'} a store: {ends}")
    assert ends["at work"] >= KILLS // (4 if with_store else 2)
