"""A whole render with spill and a crossed main pair: sums and subsets stay exact."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

SEATS = """
[microphones.tree]
array = "blumlein"
tilt = -10
[microphones.close]
spill = 3
[seats.oboe]
stem = "oboe.wav"
section = "winds"
bearing = -20
distance = 2.2
[seats.violas]
stem = "violas.wav"
section = "strings"
bearing = 30
distance = 2.5
perspectives = { tree = 0 }
[seats.horn]
stem = "horn.wav"
section = "brass"
bearing = 0
distance = 2.9
mute = true
[sections.winds]
perspectives = { tree = 0, close = -6 }
"""


@pytest.fixture
def spilling(stage: Any) -> Any:
    for number, (name, channels) in enumerate([("oboe", 1), ("violas", 2), ("horn", 1)]):
        stage.stem(f"{name}.wav", stage.noise(number, 0.5, channels))
    stage.write(SEATS)
    return stage


def test_sections_stems_and_perspectives_add_up_to_the_mix_with_spill(spilling: Any) -> None:
    """The seat that has no close microphone of its own is in the close perspective as well."""
    spilling.float_render(stems=True, perspectives=True)
    mix = spilling.heard()
    for kind, names in {
        "sections": ("winds", "strings"),
        "stems": ("oboe", "violas"),
        "perspectives": ("tree", "close"),
    }.items():
        folder = sorted(path.stem for path in (spilling.out / kind).iterdir())
        assert set(folder) == set(names)
        total = sum(spilling.heard(f"{kind}/{name}.wav").astype(float) for name in folder)
        assert np.abs(total - mix).max() < 2e-6 * np.abs(mix).max()


def test_a_seat_rendered_alone_is_the_same_with_spill(spilling: Any) -> None:
    """Microphones of seats that are left out, or muted, stay open."""
    spilling.float_render(stems=True)
    together = spilling.heard("stems/violas.wav")
    spilling.float_render("alone", only=("violas",), stems=True)
    alone = spilling.heard("stems/violas.wav", "alone")
    peak = np.abs(together).max()
    assert np.abs(together - alone).max() < 1e-6 * peak
    spilling.write(SEATS.replace("spill = 3\n", ""))
    spilling.float_render("dry", only=("violas",), stems=True)
    dry = spilling.heard("stems/violas.wav", "dry")
    frames = min(len(dry), len(together))
    assert np.abs(together[:frames] - dry[:frames]).max() > 1e-3 * peak
