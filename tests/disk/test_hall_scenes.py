"""A scene of a few lines in every starting hall: it reads without a fault and its seats sound."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from seatwright.acoustics.impulse_response import Grid, response_seconds
from seatwright.acoustics.listening import grid_origin, listening_of, seat_plan
from seatwright.acoustics.measures import energy
from seatwright.acoustics.seat_response import seat_response
from seatwright.disk.scene_file import ReadScene, read_scene
from seatwright.errors import SceneError
from seatwright.stage.hall_library import HALL_TYPES
from seatwright.stage.microphones import PERSPECTIVES

RATE = 16_000

SEATS = """
[hall]
type = "{name}"
{more}
[sections.strings]
perspectives = {{ tree = 0, outriggers = -6, ambient = -8, close = -10, head = -6 }}
[seats.violins]
stem = "violins.wav"
instrument = "violin"
bearing = -50
distance = 2.3
width = 1.5
[seats.cellos]
stem = "cellos.wav"
instrument = "cello"
bearing = 50
distance = 2.3
width = 1.5
[seats.oboe]
stem = "oboe.wav"
section = "strings"
instrument = "oboe"
bearing = 4
distance = 2.8
"""


def read(folder: Path, name: str, more: str = "") -> ReadScene:
    path = folder / "scene.toml"
    path.write_text(SEATS.format(name=name, more=more), encoding="utf-8")
    return read_scene(path)


@pytest.mark.parametrize("name", HALL_TYPES)
def test_a_small_group_sounds_with_all_default_microphones(name: str, tmp_path: Path) -> None:
    """Every perspective is heard, is finite, and begins with the scene's earliest arrival."""
    scene = read(tmp_path, name).scene
    listening = listening_of(scene)
    plans = [seat_plan(scene, seat, 2) for seat in scene.seats]
    origin = grid_origin(listening, plans, RATE)
    grid = Grid(RATE, int(RATE * response_seconds(listening.room)), origin)
    response = seat_response(listening, plans[0], grid, apart=True)
    assert set(response.perspectives) == set(PERSPECTIVES)
    assert np.isfinite(response.mix).all()
    for perspective, part in response.perspectives.items():
        assert energy(part) > 1e-3 * energy(response.mix), perspective
        assert energy(part[..., -100:]) < 1e-6 * energy(part), perspective


@pytest.mark.parametrize("name", HALL_TYPES)
def test_a_target_no_hall_can_reach_is_one_fault_at_its_line(name: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as caught:
        read(tmp_path, name, "# far too long\nreverberation = 30")
    (fault,) = caught.value.faults
    assert (fault.key, fault.line) == ("hall.reverberation", 5)
    assert fault.what.startswith("found a target of 30 s, wanted")


def test_faults_of_surfaces_beside_a_type_stand_at_what_was_written(tmp_path: Path) -> None:
    """Two mistakes, two faults, none about what the type gives."""
    surfaces = '[hall.surfaces]\nrear = "brickwrk"\nceiling = { absorption = 1.5 }'
    with pytest.raises(SceneError) as caught:
        read(tmp_path, "church", surfaces)
    faults = {(fault.key, fault.line) for fault in caught.value.faults}
    assert faults == {("hall.surfaces.rear", 5), ("hall.surfaces.ceiling.absorption", 6)}
