"""Memory is told before it is taken, near enough to what is taken, and refused where it is not."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import seatwright
import seatwright.memory_need
from seatwright.errors import RenderError

MEASURE = """
import sys
from pathlib import Path
import seatwright.memory_need as need
import seatwright.render
from seatwright.stage.request import Request

def taken(which):
    line = next(l for l in open("/proc/self/status") if l.startswith(which))
    return 1024 * int(line.split()[1])

found, real = [], need.memory_need
need.memory_need = lambda *a: found.append(real(*a)) or found[0]
before = taken("VmRSS")
seatwright.render.render(
    Path(sys.argv[1]), Path(sys.argv[2]), Request(stems=True, perspectives=True, threads=1)
)
print(found[0], taken("VmHWM") - before)
"""


def six_seats(stage: Any, seconds: float) -> None:
    stage.rate = 48_000
    seats = ""
    for number in range(6):
        stage.stem(f"{number}.wav", stage.noise(number, seconds, 2))
        seats += f'[seats.s{number}]\nstem = "{number}.wav"\nx = {number - 2.5}\ny = 3\n'
    hall = "[hall]\nsize = { width = 16, depth = 22, height = 10 }\nreverberation = 1.4\n"
    stage.write(seats, hall=hall)


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc to measure by")
def test_the_estimate_is_near_what_a_render_takes(stage: Any) -> None:
    six_seats(stage, 8.0)
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(stage.scene), str(stage.out)],
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
        env={
            **os.environ,
            "OMP_NUM_THREADS": "1",
            "PYTHONPATH": str(Path(seatwright.__file__).parents[1]),
        },
    )
    told, taken = map(int, done.stdout.split())
    assert 0.8 * taken < told < 1.6 * taken


def test_a_render_that_does_not_fit_is_refused_before_it_begins(
    stage: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.1))
    stage.write('[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 2\n')
    asked: list[int] = []
    real = seatwright.memory_need.memory_need

    def need(*arguments: Any) -> int:
        asked.append(real(*arguments))
        return asked[-1]

    monkeypatch.setattr(seatwright.memory_need, "memory_need", need)
    monkeypatch.setattr(seatwright.memory_need, "free_memory", lambda: 5_000_000)
    with pytest.raises(RenderError, match=r"found 0\.01 GB of free memory, this render wants ab"):
        stage.render()
    assert not stage.out.exists()
    for enough in (asked[0], None):
        monkeypatch.setattr(seatwright.memory_need, "free_memory", lambda have=enough: have)
        stage.render()
    monkeypatch.setattr(seatwright.memory_need, "free_memory", lambda: asked[0] - 1)
    with pytest.raises(RenderError, match="--only"):
        stage.render()
    first = asked[-1]
    stage.scene.write_text(
        stage.scene.read_text().replace("reverberation = 0.4", "reverberation = 0.6")
    )
    monkeypatch.setattr(seatwright.memory_need, "free_memory", lambda: None)
    stage.render()
    longer = asked[-1]
    stage.render(stems=True, perspectives=True)
    assert first < longer < asked[-1]
