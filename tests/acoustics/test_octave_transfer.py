"""Octave gains of responses, and the mono sum and correlation that follow, against signals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, oaconvolve, sosfilt

from seatwright.acoustics.fold_down import fold_down, low_phase_doubts
from seatwright.acoustics.octave_transfer import octave_transfer, passed_through
from seatwright.sound.octave_steps import OctaveMeter, OctaveSteps

RATE = 48_000


def steps(signal: np.ndarray) -> OctaveSteps:
    meter = OctaveMeter(RATE, signal.shape[1])
    meter.add(signal.astype(np.float32))
    return meter.steps


def responses(sources: int, seed: int = 5) -> np.ndarray:
    """Noise that dies away over 0.3 s after a delay of 10 ms, sides partly alike."""
    rng, time = np.random.default_rng(seed), np.arange(RATE // 2) / RATE
    found = rng.standard_normal((sources, 2, len(time))) * 10.0 ** (-10.0 * time)
    found += 0.5 * found[:, ::-1]
    found[:, :, : RATE // 100] = 0.0
    return (found / 50.0).astype(np.float32)


@pytest.mark.parametrize("sources", [1, 2])
def test_outputs_are_those_of_a_convolution(sources: int) -> None:
    rng = np.random.default_rng(1)
    stem = 0.1 * rng.standard_normal((8 * RATE, sources))
    if sources == 2:
        stem[:, 1] += 0.7 * stem[:, 0]
    hall = responses(sources)
    mixed = sum(oaconvolve(stem[:, [s, s]], hall[s].T, axes=0) for s in range(sources))
    wanted = steps(np.asarray(mixed)).shared
    found = octave_transfer(hall, RATE).outputs(steps(stem))
    for band in range(2, 8):
        for one, two in ((0, 0), (1, 1)):
            assert found[band, one, two].real == pytest.approx(
                wanted[band, one, two].real, rel=0.08
            )
        size = np.sqrt(wanted[band, 0, 0].real * wanted[band, 1, 1].real)
        assert (found[band, 0, 1] / size).real == pytest.approx(
            (wanted[band, 0, 1] / size).real, abs=0.08
        )


def test_heard_is_the_first_80_ms() -> None:
    response = np.zeros((1, 2, RATE), dtype=np.float32)
    response[0, 0, 4800], response[0, 1, 4800] = 0.5, 0.25
    response[0, :, 4800 + round(0.079 * RATE)] = 0.5
    stem = steps(np.random.default_rng(0).standard_normal((RATE, 1)))
    inside = octave_transfer(response, RATE).heard(stem)
    response[0, :, 4800 + round(0.081 * RATE) :] = 3.0 * np.eye(1, RATE - 8688, 0)
    after = octave_transfer(response, RATE).heard(stem)
    assert after == pytest.approx(inside, rel=1e-4)
    # the octave's mean of the comb leaves the sum of squares
    assert inside[5:].sum() / stem.powers[0, 5:].sum() == pytest.approx(0.8125, rel=0.02)


@pytest.mark.parametrize(
    ("matrix", "change", "correlation"),
    [
        ([1.0, 1.0], 0.0, 1.0),
        ([1.0, -1.0], -np.inf, -1.0),
        ([1.0, 0.0], -3.01, np.nan),
    ],
)
def test_mono_of_known_sides(matrix: list[float], change: float, correlation: float) -> None:
    response = np.zeros((1, 2, 4800), dtype=np.float32)
    response[0, :, 100] = matrix
    stem = steps(0.1 * np.random.default_rng(0).standard_normal((RATE, 1)))
    outputs = {"one": octave_transfer(response, RATE).outputs(stem)}
    found = fold_down(outputs)
    expected = pytest.approx(change, abs=0.01) if np.isfinite(change) else change
    assert found.overall_db == expected or found.overall_db < -60.0
    if np.isfinite(change):
        assert found.change_db == pytest.approx((change,) * 8, abs=0.01)
    assert found.correlation[3] == pytest.approx(correlation, abs=1e-3, nan_ok=True)


def test_two_seats_far_left_and_right_are_unrelated() -> None:
    sections = butter(2, (50, 160), "bandpass", fs=RATE, output="sos")
    noise = np.random.default_rng(0).standard_normal((RATE, 1))
    stem = steps(sosfilt(sections, noise, axis=0))
    sides = []
    for side in range(2):
        response = np.zeros((1, 2, 4800), dtype=np.float32)
        response[0, side, 100] = 1.0
        sides.append(octave_transfer(response, RATE).outputs(stem))
    outputs = {"left": sides[0], "right": sides[1]}
    assert fold_down(outputs).change_db == pytest.approx((-3.01,) * 8, abs=0.01)
    assert low_phase_doubts(outputs) == []


def test_bass_out_of_phase_is_blamed_on_its_seat() -> None:
    time = np.arange(2 * RATE) / RATE
    bass = steps(0.1 * np.sin(2 * np.pi * 60.0 * time)[:, None])
    turned, straight = (np.zeros((1, 2, 4800), dtype=np.float32) for _ in range(2))
    turned[0, :, 0], straight[0, :, 0] = (1.0, -1.0), (0.5, 0.5)
    outputs = {
        "cellos": octave_transfer(straight, RATE).outputs(bass),
        "basses": octave_transfer(turned, RATE).outputs(bass),
    }
    (told,) = low_phase_doubts(outputs)
    assert told.key == "seats.basses" and "correlate by -0.60 in the octave of 63 Hz" in told.what
    assert low_phase_doubts({"cellos": outputs["cellos"]}) == []


def test_untouched_stems_pass_through() -> None:
    stem = steps(0.1 * np.random.default_rng(0).standard_normal((RATE, 1)))
    mono = passed_through(1, -6.0206)
    assert mono.heard(stem) == pytest.approx(0.5 * stem.powers[0], rel=1e-4)  # both sides
    assert fold_down({"low": mono.outputs(stem)}).correlation == pytest.approx((1.0,) * 8)
    wide = steps(0.1 * np.random.default_rng(0).standard_normal((RATE, 2)))
    assert passed_through(2, 0.0).outputs(wide) == pytest.approx(wide.shared)
