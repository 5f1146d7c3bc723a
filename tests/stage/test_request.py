"""What can be asked of a render, and what cannot."""

from __future__ import annotations

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.errors import SceneError
from seatwright.stage.request import Request


@pytest.mark.parametrize(
    ("depth", "encoding"), [("16", "PCM_16"), ("24", "PCM_24"), ("float", "FLOAT")]
)
def test_encodings_have_their_usual_names(depth: str, encoding: str) -> None:
    assert Request(depth=depth).encoding == encoding  # type: ignore[arg-type]


def test_flac_holds_no_floats() -> None:
    assert Request(kind="flac", depth="16").encoding == "PCM_16"
    with pytest.raises(SceneError, match="found FLAC at float depth, wanted 16 or 24 bits"):
        Request(kind="flac", depth="float")


@pytest.mark.parametrize("trim", [nan, inf, -inf, 60.1, -120.1])
def test_trim_out_of_range(trim: float) -> None:
    with pytest.raises(SceneError, match=r"found a trim of .* dB, wanted -120 to 60 dB"):
        Request(trim_db=trim)
    assert Request(trim_db=60.0).trim_db == 60.0


@pytest.mark.parametrize(
    ("start", "stop", "wanted"),
    [
        (None, None, (0, 96_001)),
        (0.5, None, (24_000, 96_001)),
        (None, 1.0, (0, 48_000)),
        (0.25, 0.75, (12_000, 36_000)),
        (1.0, 99.0, (48_000, 96_001)),
        (1.0, inf, (48_000, 96_001)),
        (0.0, 1 / 48_000, (0, 1)),
    ],
)
def test_excerpts_in_samples(
    start: float | None, stop: float | None, wanted: tuple[int, int]
) -> None:
    assert Request(start=start, stop=stop).excerpt(96_001, 48_000) == wanted


@pytest.mark.parametrize(
    ("start", "stop"),
    [
        (1.0, 1.0),
        (1.0, 0.5),
        (-0.1, 1.0),
        (2.1, None),
        (2.1, 3.0),
        (nan, None),
        (None, nan),
        (0.0, 0.0),
    ],
)
def test_excerpts_that_are_none(start: float | None, stop: float | None) -> None:
    with pytest.raises(SceneError, match=r"wanted a part of 0 to 2\.00 s"):
        Request(start=start, stop=stop).excerpt(96_000, 48_000)


def test_less_than_a_sample() -> None:
    with pytest.raises(SceneError, match="wanted at least one sample"):
        Request(start=0.0, stop=1e-6).excerpt(96_000, 48_000)


@given(
    cut=st.integers(0, 10**7),
    frames=st.integers(1, 10**7),
    rate=st.sampled_from([8_000, 44_100, 48_000, 192_000]),
)
def test_two_excerpts_meet_without_gap_or_overlap(cut: int, frames: int, rate: int) -> None:
    seconds = cut / rate
    if not 0 < cut < frames:
        return
    first = Request(stop=seconds).excerpt(frames, rate)
    second = Request(start=seconds).excerpt(frames, rate)
    assert (first, second) == ((0, cut), (cut, frames))
