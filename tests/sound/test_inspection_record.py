"""Records of inspections: everything comes back as it was, through JSON and npz."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest

from seatwright.sound.inspection import StemInspection, StemMeter
from seatwright.sound.inspection_record import inspection_record, recorded_inspection

RATE = 16_000


def inspected(samples: np.ndarray, levels: bool = True) -> StemInspection:
    meter = StemMeter(RATE, samples.shape[1], levels)
    meter.add(samples.astype(np.float32))
    return StemInspection("a.wav", RATE, samples.shape[1], 24, "PCM_24", 2.5, meter.figures)


def stored(inspection: StemInspection) -> tuple[dict, dict]:
    values, arrays = inspection_record(inspection)
    file = io.BytesIO()
    np.savez(file, **arrays)
    file.seek(0)
    return json.loads(json.dumps(values, allow_nan=False)), dict(np.load(file))


NOISE = 0.1 * np.random.default_rng(3).standard_normal((5 * RATE, 2))


@pytest.mark.parametrize(
    "samples", [NOISE, NOISE[:, :1], np.zeros((RATE, 1)), NOISE * [1.0, 0.0], NOISE[:9]]
)
@pytest.mark.parametrize("levels", [True, False])
def test_all_comes_back(samples: np.ndarray, levels: bool) -> None:
    before = inspected(samples, levels)
    after = recorded_inspection(*stored(before), "a.wav", 2.5)
    assert after is not None
    assert repr(after) == repr(before)  # every bit of every number, nan as well
    assert after.as_json() == before.as_json()
    assert np.array_equal(after.sound.excerpt, before.sound.excerpt)
    assert (after.sound.octaves is None) is not levels
    if levels:
        assert np.array_equal(after.sound.octaves.powers, before.sound.octaves.powers)
        assert np.array_equal(after.sound.octaves.shared, before.sound.octaves.shared)


def test_place_and_start_are_the_file_s_own() -> None:
    moved = recorded_inspection(*stored(inspected(NOISE)), "b/c.wav", None)
    assert moved is not None
    assert (moved.file, moved.start_seconds) == ("b/c.wav", None)


def test_other_or_broken_records_are_measured_again() -> None:
    values, arrays = stored(inspected(NOISE))
    assert recorded_inspection(values | {"format": 0}, arrays, "a", None) is None
    assert recorded_inspection({}, arrays, "a", None) is None
    for lost in ("frames", "room", "rate"):
        less = {name: value for name, value in values.items() if name != lost}
        assert recorded_inspection(less, arrays, "a", None) is None
    assert recorded_inspection(values, {}, "a", None) is None
    strange = values | {"room": values["room"] | {"colour": 1}}
    assert recorded_inspection(strange, arrays, "a", None) is None
