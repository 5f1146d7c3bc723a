"""A sitting as a process: it prints its address, serves, and ends clean with what is not saved."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from http.client import HTTPConnection
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
import soundfile

import seatwright

SCENE = """
[hall]
size = { width = 8, depth = 10, height = 5 }
reverberation = 0.4
[seats.oboe]
stem = "oboe.wav"
instrument = "oboe"
bearing = -20
distance = 2.2
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    music = np.random.default_rng(1).uniform(-0.1, 0.1, 48_000)
    soundfile.write(tmp_path / "oboe.wav", music, 16_000)
    (tmp_path / "scene.toml").write_text(SCENE, encoding="utf-8")
    return tmp_path


def run(folder: Path, *arguments: str) -> subprocess.Popen[str]:
    source = str(Path(seatwright.__file__).parents[1])
    return subprocess.Popen(
        [sys.executable, "-m", "seatwright", "rehearse", "scene.toml", *arguments],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": source},
    )


@pytest.fixture
def sitting(folder: Path) -> Iterator[subprocess.Popen[str]]:
    child = run(folder, "--no-browser", "--from", "0.5", "--to", "2")
    yield child
    child.kill()
    child.communicate()


def order(url: str, **wanted: Any) -> int:
    parts = urlsplit(url)
    headers = {"Origin": f"http://{parts.netloc}", "Content-Type": "application/json"}
    with closing(HTTPConnection(parts.netloc, timeout=30)) as connection:
        connection.request("POST", parts.path + "order", json.dumps(wanted), headers)
        answer = connection.getresponse()
        answer.read()
        return answer.status


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 0), (signal.SIGTERM, 143)])
def test_a_signal_ends_it_and_what_is_not_saved_is_printed(
    folder: Path, sitting: subprocess.Popen[str], number: signal.Signals, code: int
) -> None:
    assert sitting.stdout is not None
    url = sitting.stdout.readline().strip()
    assert url.startswith("http://127.0.0.1:")
    assert order(url, do="move", seat="oboe", x=0.0, y=2.5) == 200
    sitting.send_signal(number)
    _, said = sitting.communicate(timeout=30)
    assert sitting.returncode == code
    assert "[seats.oboe]\nbearing = 0\ndistance = 2.5" in said
    assert "low monitoring level" in said
    assert (folder / "scene.toml").read_text(encoding="utf-8") == SCENE


def test_nothing_is_printed_where_nothing_was_moved(
    folder: Path, sitting: subprocess.Popen[str]
) -> None:
    assert sitting.stdout is not None
    sitting.stdout.readline()
    sitting.send_signal(signal.SIGINT)
    _, said = sitting.communicate(timeout=30)
    assert "not saved" not in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("arguments", "code", "why"),
    [
        (["--seating", "nowhere"], 2, 'no seating "nowhere"'),
        (["--from", "9"], 2, "wanted a part of 0 to 3.00 s"),
        (["--from", "0", "--to", "0.2"], 2, "wanted 1 to 60 s"),
    ],
)
def test_what_cannot_be_served_is_said_at_once(
    folder: Path, arguments: list[str], code: int, why: str
) -> None:
    child = run(folder, "--no-browser", *arguments)
    out, said = child.communicate(timeout=60)
    assert (child.returncode, out) == (code, "")
    assert why in said


def test_a_missing_stem_ends_it_before_anything_is_served(folder: Path) -> None:
    (folder / "oboe.wav").unlink()
    child = run(folder, "--no-browser")
    out, said = child.communicate(timeout=60)
    assert (child.returncode, out) == (3, "")
    assert "oboe.wav" in said


@pytest.mark.parametrize("late", [0.0, 0.05, 0.2])
def test_a_signal_at_any_time_ends_it_without_a_trace(
    sitting: subprocess.Popen[str], late: float
) -> None:
    assert sitting.stdout is not None
    sitting.stdout.readline()
    time.sleep(late)
    sitting.send_signal(signal.SIGINT)
    _, said = sitting.communicate(timeout=30)
    assert (sitting.returncode, "Traceback" in said) == (0, False)
