"""An earlier render is taken again only while everything about it still holds."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from seatwright.disk.reusable_render import earlier_report

WANTED = {"scene_sha256": "01", "versions": {"seatwright": "1"}, "encoding": "wav FLOAT"}


@pytest.fixture
def made(tmp_path: Path) -> Path:
    """A folder with a mix and its report, and the stem it was made of beside it."""
    (tmp_path / "out").mkdir()
    rows = {}
    for name in ("oboe.wav", "out/mix.wav"):
        (tmp_path / name).write_bytes(name.encode() * 99)
        rows[name] = hashlib.sha256(name.encode() * 99).hexdigest()
    facts = {
        **WANTED,
        "outputs": [{"file": "mix.wav", "sha256": rows["out/mix.wav"]}],
        "stems": [{"file": "oboe.wav", "sha256": rows["oboe.wav"]}],
    }
    (tmp_path / "out" / "report.json").write_text(json.dumps(facts))
    return tmp_path


def found(made: Path) -> dict[str, Any]:
    return earlier_report(made / "out", WANTED, [made / "oboe.wav"])


def changed(key: str, value: Any) -> Callable[[Path], None]:
    def change(made: Path) -> None:
        path = made / "out" / "report.json"
        facts = json.loads(path.read_text())
        facts[key] = value
        path.write_text(json.dumps(facts))

    return change


def test_what_holds_is_taken_whatever_the_clock_says(made: Path) -> None:
    assert found(made)["encoding"] == "wav FLOAT"
    for file, when in (("oboe.wav", 2**33), ("out/mix.wav", 0), ("out/report.json", 2**32)):
        os.utime(made / file, (when, when))
    assert found(made)["encoding"] == "wav FLOAT"


@pytest.mark.parametrize(
    "harm",
    [
        lambda made: (made / "oboe.wav").write_bytes(b"another"),
        lambda made: (made / "oboe.wav").unlink(),
        lambda made: (made / "out" / "mix.wav").write_bytes(b"shorter"),
        lambda made: (made / "out" / "mix.wav").unlink(),
        lambda made: (made / "out" / "report.json").unlink(),
        lambda made: os.truncate(made / "out" / "report.json", 50),
        lambda made: (made / "out" / "report.json").write_bytes(b"\xff\xfe{}"),
        lambda made: (made / "out" / "report.json").write_text("[3]"),
        changed("versions", {"seatwright": "2"}),
        changed("scene_sha256", "02"),
        changed("outputs", []),
        changed("outputs", [{"file": "mix.wav", "sha256": 3}]),
        changed("stems", 3),
        changed("stems", [{"sha256": ["x"]}]),
    ],
)
def test_what_does_not_hold_is_rendered_again(made: Path, harm: Callable[[Path], Any]) -> None:
    harm(made)
    assert found(made) == {}
