"""Bad scenes: each tiny file names in its first lines the faults it must give."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from seatwright.disk.scene_file import read_scene
from seatwright.errors import SceneError

FOLDER = Path(__file__).parents[1] / "scenes" / "bad"
FILES = sorted(FOLDER.glob("*.toml"))
FOREIGN_WORDS = re.compile(r"Input should|String should|pydantic|Traceback|value_error|\bNone\b")


@dataclass(frozen=True)
class Wanted:
    """A fault as the comments of a bad scene ask for it."""

    key: str
    line: int
    says: tuple[str, ...]


def wanted_faults(path: Path) -> list[Wanted]:
    blocks = re.split(r"^# wanted: ", path.read_bytes().decode("utf-8", "replace"), flags=re.M)
    return [
        Wanted(
            "" if (key := block.split("\n")[0].strip()) == "-" else key,
            int(re.findall(r"^#   line: (\d+)$", block, flags=re.M)[0]),
            tuple(re.findall(r"^#   says: (.+)$", block, flags=re.M)),
        )
        for block in blocks[1:]
    ]


def test_there_are_bad_scenes() -> None:
    assert len(FILES) > 60


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_bad_scene_gives_just_its_faults(path: Path) -> None:
    wanted = wanted_faults(path)
    assert wanted and all(fault.says for fault in wanted)
    with pytest.raises(SceneError) as raised:
        read_scene(path)
    faults = raised.value.faults
    assert [(fault.key, fault.line) for fault in faults] == [(w.key, w.line) for w in wanted]
    for fault, want in zip(faults, wanted, strict=True):
        assert [text for text in want.says if text not in str(fault)] == [], str(fault)
        assert fault.file == str(path)
        assert not FOREIGN_WORDS.search(str(fault)), str(fault)
