"""Voices: what is convolved for each seat, in a fixed order, with its figures."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seatwright.acoustics.listening import listening_of
from seatwright.disk.casting import cast_scene
from seatwright.disk.scene_file import read_scene
from seatwright.errors import StemError
from seatwright.mixdown import composition_of
from seatwright.render import time_grid
from seatwright.seat_responses import SeatResponses
from seatwright.sound.convolution import Voice
from seatwright.stage.routing import buses_of, heard_seats
from seatwright.voices import Voices


def voices_of(stage: Any, threads: int = 1, only: tuple[str, ...] = (), **buses: bool) -> Voices:
    read = read_scene(stage.scene)
    cast = cast_scene(read)
    listening = listening_of(read.scene)
    grid = time_grid(read.scene, listening, cast)
    heard = heard_seats(read.scene, only)
    made = buses_of(read.scene, heard, **buses)
    composition = composition_of(read.scene, heard, made, cast)
    rows = composition.rows(range(len(composition.groups)))
    apart = buses.get("perspectives", False)
    responses = SeatResponses(read.scene, listening, grid, cast, apart)
    groups = list(enumerate(composition.groups))
    return Voices(responses, groups, partial(composition.routes, rows), threads)


def taken(voices: Voices) -> list[Voice]:
    try:
        return list(voices)
    finally:
        voices.close()


def test_one_voice_a_channel_section_by_section(quartet: Any) -> None:
    """The order decides how sums round: it is the sections', whatever the seats' order."""
    voices = voices_of(quartet)
    assert [group.section for _, group in voices.groups] == ["winds", "strings", "voices"]
    made = taken(voices)
    assert [voice.name for voice in made] == [
        "oboe",
        *["violas"] * 2,
        *["organ"] * 2,
        *["choir"] * 2,
    ]
    assert [[bus for bus, _ in voice.routes] for voice in made] == [[0], [1], [1], [], [], [2], [2]]
    for voice in made:
        for _, response in voice.routes:
            assert response.shape == (2, voices.responses.grid.frames)
            assert response.dtype == np.float32


def test_sections_that_alternate_are_gathered(stage: Any) -> None:
    stage.stem("a.wav", stage.noise(1, 0.1))
    places = {"a": ("x", -1.5), "b": ("y", -0.5), "c": ("x", 0.5), "d": ("y", 1.5)}
    stage.write(
        "".join(
            f'[seats.{name}]\nstem = "a"\nsection = "{section}"\nx = {x}\ny = 2\n'
            for name, (section, x) in places.items()
        )
    )
    assert [voice.name for voice in taken(voices_of(stage))] == ["a", "c", "b", "d"]


def test_untouched_channels_go_straight_to_their_side(quartet: Any) -> None:
    made = [voice for voice in taken(voices_of(quartet)) if voice.name == "organ"]
    assert [voice.direct for voice in made] == [((1, 1.0, 0.0),), ((1, 0.0, 1.0),)]


def test_an_untouched_mono_stem_goes_to_both_sides_with_its_gain(stage: Any) -> None:
    stage.stem("a.wav", stage.noise(1, 0.1))
    stage.write('[seats.a]\nstem = "a"\ntreatment = "untouched"\ngain = -6\n')
    voices = voices_of(stage, stems=True)
    (voice,) = taken(voices)
    gain = 10 ** (-6 / 20)
    assert voice.direct == ((0, gain, gain), (1, gain, gain))
    assert voices.responses.grid.frames == 1
    assert voices.responses.figures(["a"]) == {}


def test_figures_of_every_seat_that_has_a_place(quartet: Any) -> None:
    voices = voices_of(quartet)
    heard = ["oboe", "violas", "organ", "choir"]
    before = voices.responses.figures(heard, 2)
    assert before.keys() == {"oboe", "violas", "choir"}
    taken(voices)
    assert voices.responses.figures(heard) == before


@pytest.mark.parametrize("threads", [2, 5])
def test_threads_change_neither_order_nor_responses(quartet: Any, threads: int) -> None:
    one, more = (
        taken(voices_of(quartet, count, stems=True, perspectives=True)) for count in (1, threads)
    )
    assert [voice.name for voice in one] == [voice.name for voice in more]
    for here, there in zip(one, more, strict=True):
        assert here.direct == there.direct
        for (bus, response), (other_bus, other) in zip(here.routes, there.routes, strict=True):
            assert bus == other_bus
            assert np.array_equal(response, other)


def test_outputs_that_hear_the_same_share_one_response(quartet: Any) -> None:
    """So that the engine transforms it once."""
    (oboe,) = taken(voices_of(quartet, only=("oboe",), stems=True, perspectives=True))
    responses = [response for _, response in oboe.routes]
    assert len(responses) == 2 + 3
    assert responses[0] is responses[1]
    total = np.sum(responses[2:], axis=0, dtype=np.float64)
    assert np.abs(total - responses[0]).max() < 1e-6


def test_a_seat_does_not_depend_on_who_else_is_heard(quartet: Any) -> None:
    alone = taken(voices_of(quartet, only=("violas",)))
    beside = [voice for voice in taken(voices_of(quartet)) if voice.name == "violas"]
    for here, there in zip(alone, beside, strict=True):
        assert np.array_equal(here.routes[0][1], there.routes[0][1])


def open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_closing_closes_every_stem_however_many_were_taken(quartet: Any) -> None:
    before = open_files()
    voices = voices_of(quartet, threads=2)
    voices.close()
    voices = voices_of(quartet, threads=2)
    walk = iter(voices)
    next(walk)
    assert open_files() > before
    walk.close()  # type: ignore[attr-defined]
    voices.close()
    assert open_files() == before


def test_a_stem_that_went_away_is_named(stage: Any) -> None:
    path = stage.stem("a.wav", stage.noise(1, 0.1))
    stage.write('[seats.a]\nstem = "a"\ntreatment = "untouched"\n')
    voices = voices_of(stage)
    path.unlink()
    with pytest.raises(StemError, match=r"a\.wav: cannot be read: No such file"):
        taken(voices)
