"""Octave bands: the standard's frequencies, and published lists extended flat."""

from __future__ import annotations

import re

import pytest

from seatwright.stage.bands import BAND_NAMES, OCTAVE_BANDS, extended


def test_bands_are_octaves_around_a_kilohertz() -> None:
    assert OCTAVE_BANDS == (62.5, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)


def test_names_are_the_nominal_frequencies() -> None:
    for name, frequency in zip(BAND_NAMES, OCTAVE_BANDS, strict=True):
        nominal = float(name.replace("k", "")) * (1000 if "k" in name else 1)
        assert nominal == pytest.approx(frequency, rel=0.01)


@pytest.mark.parametrize(
    ("count", "first", "last"), [(6, 125, 4000), (7, 125, 8000), (8, 62.5, 8000), (9, 62.5, 16000)]
)
def test_each_count_lies_where_it_is_published(count: int, first: float, last: float) -> None:
    values = [0.1 + 0.01 * number for number in range(count)]
    bands = dict(zip(OCTAVE_BANDS, extended(values), strict=True))
    inside = [frequency for frequency in OCTAVE_BANDS if first <= frequency <= last]
    assert [bands[frequency] for frequency in inside] == values
    assert all(bands[frequency] == values[0] for frequency in OCTAVE_BANDS if frequency < first)
    assert all(bands[frequency] == values[-1] for frequency in OCTAVE_BANDS if frequency > last)


def test_one_value_is_for_all_bands() -> None:
    assert extended([0.3]) == (0.3,) * 9


@pytest.mark.parametrize("count", [0, 2, 3, 4, 5, 10])
def test_other_counts_are_refused_with_the_accepted_ones(count: int) -> None:
    with pytest.raises(ValueError, match=re.escape(f"found {count} band values, wanted 1 value")):
        extended([0.1] * count)
