"""A render told all its faults in one run, and what it warns of that only a request can bring."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seatwright.cli import main
from seatwright.errors import SceneError

SCENE = """
[seats.oboe]
stem = "oboe.wav"
{key} = -20
distance = 2.2
[seats.flute]
stem = "flute.wav"
x = 1
y = 2
[seats.harp]
stem = "harp.wav"
x = -2
y = 2
"""


@pytest.fixture
def broken(stage: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A flute that is no audio, a harp that is not there, an oboe with a NaN."""
    samples = stage.noise(1, 0.2)
    samples[1_600] = np.nan
    stage.stem("oboe.wav", samples, subtype="FLOAT")
    (stage.folder / "flute.wav").write_text("no audio at all")
    monkeypatch.chdir(stage.folder)
    return stage


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, list[str]]:
    with pytest.raises(SystemExit) as end:
        main(list(arguments))
    return int(end.value.code or 0), capsys.readouterr().err.splitlines()


@pytest.mark.parametrize(
    ("key", "head", "code", "count"),
    [
        ("bearing", "", 3, 3),
        ("bearin", "", 2, 4),
        ("bearing", '[microphones.head]\nmodel = "gone.sofa"\n', 2, 4),
        ("bearin", '[microphones.head]\nmodel = "gone.sofa"\n', 2, 5),
    ],
)
def test_a_render_tells_everything_that_check_tells(
    broken: Any, capsys: pytest.CaptureFixture[str], key: str, head: str, code: int, count: int
) -> None:
    broken.write(SCENE.format(key=key), head=head)
    found, lines = run(capsys, "render", "scene.toml", "--out", "out")
    assert (found, len(lines)) == (code, count), lines
    assert run(capsys, "check", "scene.toml") == (found, lines)
    assert not broken.out.exists()
    text = "\n".join(lines)
    for name, what in (
        ("seats.oboe.stem", "oboe.wav: sample nan at 0.1"),
        ("seats.flute.stem", "flute.wav: "),
        ("seats.harp.stem", 'found no file "harp.wav"'),
        *([("seats.oboe.bearin", "unknown key")] if key == "bearin" else []),
        *([("microphones.head.model", "gone.sofa: found no such file")] if head else []),
    ):
        (line,) = (each for each in lines if f" {name}: " in each)
        assert what in line and line.startswith("seatwright: scene.toml:"), text


def test_a_section_and_a_seat_of_one_name_are_both_taken_and_said_so(stage: Any) -> None:
    for number, name in enumerate(("brass", "horns")):
        stage.stem(f"{name}.wav", stage.noise(number, 0.2))
    seats = "".join(
        f'[seats.{name}]\nstem = "{name}.wav"\nsection = "brass"\nx = {x}\ny = 2\n'
        for x, name in enumerate(("brass", "horns"))
    )
    stage.write(seats)
    report = stage.render(only=("brass",))
    assert [row.seat for row in report.seats] == ["brass", "horns"]
    (told,) = (text for text in report.warnings if "--only" in text)
    assert told.startswith(f"{stage.scene}:") and "both are taken: brass, horns" in told
    assert not any("--only" in text for text in stage.render(only=("horns",)).warnings)


def test_files_nobody_plays_stand_in_the_report(stage: Any) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.2))
    stage.stem("forgotten.wav", stage.noise(2, 0.2))
    stage.write('[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 2\n')
    told = "found an audio file that no seat plays: forgotten.wav"
    assert any(told in text for text in stage.render().warnings)
    stage.write('[seats.oboe]\nstem = ["oboe.wav", "forgotten.wav"]\nx = 1\ny = 2\n')
    assert not any("no seat plays" in text for text in stage.render().warnings)


def test_an_empty_balance_renders_nothing(stage: Any) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.2))
    stage.write('[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 2\nperspectives = {}\n')
    with pytest.raises(SceneError, match="found no perspective, wanted at least one of tree"):
        stage.render()
    assert not Path(stage.out).exists()


def test_a_scene_whose_stems_lie_elsewhere_is_drawn_and_rendered_on_request(
    stage: Any, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (stage.folder / "scenes").mkdir()
    stage.stem("oboe.wav", stage.noise(1, 0.2))
    monkeypatch.chdir(stage.folder / "scenes")
    stage.write('[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 2\n', head=f"stems = '{stage.folder}'")
    stage.scene.rename("scene.toml")
    found, lines = run(capsys, "render", "scene.toml", "--out", "out")
    assert found == 2 and "--allow-outside" in lines[0]
    assert run(capsys, "plan", "scene.toml")[0] == 0
    assert run(capsys, "render", "scene.toml", "--out", "out", "--allow-outside")[0] == 0
    assert Path("out/mix.wav").exists() and Path("scene.svg").exists()
