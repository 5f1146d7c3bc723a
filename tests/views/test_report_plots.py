"""Plots of a page: read back from their paths, they say what the data say."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from xml.etree import ElementTree

import numpy as np
import pytest

from seatwright.acoustics.decay_curves import BandDecay, HallDecays
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.sound.spectra import Picture, third_octaves
from seatwright.views.report import SeatRow
from seatwright.views.report_plots import (
    Pictured,
    course_plots,
    course_points,
    decay_plots,
    nominal,
    seat_plot,
    spectrum_plots,
    trimmed_picture,
)

SVG = "{http://www.w3.org/2000/svg}"
BANDS = third_octaves(48_000)
LOUD = Picture(BANDS, np.linspace(-34.0, -64.0, len(BANDS)), 0.1, np.linspace(-50.0, -12.5, 300))
SOFT = Picture(BANDS, np.full(len(BANDS), -200.0), 0.1, np.full(300, -200.0))
FIGURES = SeatFigures(-6.5, 3.5, 8.75, 12.5, -1.5, 0.25, -7.5, -9.0, "loudspeakers")


def ticks(svg: str) -> tuple[dict[float, float], dict[float, float]]:
    """Places of the numbers along both axes, as drawn: value to units."""
    across, down = {}, {}
    for text in ElementTree.fromstring(svg).iter(f"{SVG}text"):
        kinds, shown = text.get("class", "").split(), text.text or ""
        try:
            number = float(shown.replace("k", "")) * (1000.0 if "k" in shown else 1.0)
        except ValueError:
            continue
        if "to" in kinds:
            down[number] = float(text.get("y", "")) - 4.0
        elif "tick" in kinds:
            across[number] = float(text.get("x", ""))
    return across, down


def drawn(svg: str, kind: str) -> np.ndarray:
    """Points of a line in units, shape (n, 2)."""
    (path,) = (p for p in ElementTree.fromstring(svg).iter(f"{SVG}path") if p.get("class") == kind)
    pairs = path.get("d", "").replace("M", " ").replace("L", " ").split()
    return np.array(pairs, dtype=float).reshape(-1, 2)


def read(svg: str, kind: str = "line", octaves: bool = False) -> np.ndarray:
    """Points of a line in data, by the numbers along the axes alone."""
    across, down = ticks(svg)
    points = drawn(svg, kind)
    scale = np.log if octaves else np.asarray
    x = np.polyfit(list(across.values()), scale(list(across)), 1)
    y = np.polyfit(list(down.values()), list(down), 1)
    first = np.polyval(x, points[:, 0])
    return np.stack([np.exp(first) if octaves else first, np.polyval(y, points[:, 1])], axis=1)


def words(svg: str) -> str:
    return ElementTree.fromstring(svg).findtext(f"{SVG}desc") or ""


def test_courses_are_levels_over_time_with_the_mix_behind() -> None:
    mix, section = course_plots([Pictured("mix", LOUD), Pictured("a", trimmed_picture(LOUD, -9.0))])
    found = read(section)
    assert np.abs(found[:, 0] - (np.arange(300) + 0.5) * 0.1).max() < 0.1
    assert np.abs(found[:, 1] - (LOUD.course_db - 9.0)).max() < 0.2
    assert np.abs(read(section, "line soft") - read(mix)).max() < 0.2
    assert "soft" not in mix


def test_an_excerpt_keeps_its_time() -> None:
    (plot,) = course_plots([Pictured("mix", LOUD)], begin=100.0)
    assert read(plot)[0, 0] == pytest.approx(100.05, abs=0.1)
    assert read(plot)[-1, 0] == pytest.approx(129.95, abs=0.1)


def test_long_courses_are_thinned_by_their_power() -> None:
    """One loud step of four among silence is 6 dB lower, not lost and not whole."""
    course = np.full(1280, -200.0)
    course[400] = -10.0
    time, level = course_points(replace(LOUD, course_db=course))
    assert len(time) == 320
    assert level[100] == pytest.approx(-10.0 - 10.0 * np.log10(4.0))
    assert time[100] == pytest.approx(40.2)
    assert np.delete(level, 100).max() == pytest.approx(-200.0)


def test_the_last_group_of_a_course_may_be_shorter() -> None:
    time, level = course_points(replace(LOUD, course_db=np.full(643, -20.0)))
    assert len(time) == len(level) == 215
    assert np.allclose(level, -20.0)
    assert time[-1] == pytest.approx((642 + 0.5) * 0.1)


def test_spectra_are_third_octaves() -> None:
    (plot,) = spectrum_plots([Pictured("mix", LOUD)])
    found = read(plot, octaves=True)
    assert np.abs(found[:, 0] / BANDS - 1.0).max() < 0.02
    assert np.abs(found[:, 1] - LOUD.spectrum_db).max() < 0.25
    assert words(plot) == "Spectrum in third octaves: strongest at 25 Hz with -34.0 dB."


def test_silence_draws_nothing_and_says_so() -> None:
    for plots in (course_plots, spectrum_plots):
        (alone,) = plots([Pictured("mix", SOFT)])
        assert 'class="line"' not in alone and "silent" in words(alone)
        _, beside = plots([Pictured("mix", LOUD), Pictured("a", SOFT)])
        assert 'class="line soft"' in beside and 'class="line"' not in beside


def test_nominal_frequencies_are_those_of_the_standard() -> None:
    """IEC 61260-1, table of nominal mid-band frequencies."""
    wanted = (
        "25 31.5 40 50 63 80 100 125 160 200 250 315 400 500 630 800 1000 1250 1600 2000 2500 "
        "3150 4000 5000 6300 8000 10000 12500 16000 20000"
    )
    assert [nominal(band) for band in BANDS] == wanted.split()[: len(BANDS)]


def test_decays_show_what_was_built_and_what_was_predicted() -> None:
    time = np.linspace(0.0, 1.5, 60)
    bands = tuple(
        BandDecay(name, 1.5, 1.4, t30, tuple(time), tuple(-38.0 * time), tuple(-1.0 - 36.0 * time))
        for name, t30 in (("500", 1.57), ("1k", np.nan))
    )
    first, second = decay_plots(HallDecays("oboe", "the tree", 9.0, bands))
    built, predicted = read(first), read(first, "line soft")
    assert np.abs(built[:, 0] - time).max() < 0.01
    assert np.abs(built[:, 1] + 38.0 * time).max() < 0.2
    assert np.abs(predicted[:, 1] + 1.0 + 36.0 * time).max() < 0.2
    assert words(first).endswith("octave of 500 Hz: T30 1.57 s, predicted T60 1.50 s.")
    assert "octave of 1 kHz: T30 not reached" in words(second)


def seats(*names: str) -> list[SeatRow]:
    return [
        SeatRow(
            name, "winds", "oboe", "placed", 1.0, 2.0,
            replace(FIGURES, heard_bearing=-20.0 + 8.0 * n, level_db=-3.0 * n),
        )
        for n, name in enumerate(names)
    ]  # fmt: skip


def dots(svg: str) -> np.ndarray:
    across, down = ticks(svg)
    circles = ElementTree.fromstring(svg).iter(f"{SVG}circle")
    places = np.array([[float(c.get("cx", "")), float(c.get("cy", ""))] for c in circles])
    x = np.polyfit(list(across.values()), list(across), 1)
    y = np.polyfit(list(down.values()), list(down), 1)
    return np.stack([np.polyval(x, places[:, 0]), np.polyval(y, places[:, 1])], axis=1)


def test_seats_stand_at_their_bearing_and_level() -> None:
    silent = SeatRow("organ", "keys", "other", "untouched", None, None, None)
    plot = seat_plot([*seats("oboe", "flute", "horn"), silent], {})
    found = dots(plot)
    wanted = np.array([[-20.0, 0.0], [-12.0, -3.0], [-4.0, -6.0]])
    assert np.abs(found[np.argsort(found[:, 0])] - wanted).max() < 0.1
    assert all(f">{name}</text>" in plot for name in ("oboe", "flute", "horn", "level dB"))
    assert "organ" not in plot
    assert words(plot).startswith("oboe -20.0 degrees, 0.0 dB; flute -12.0 degrees, -3.0 dB")


def test_seats_stand_at_their_loudness_where_all_of_it_is_known() -> None:
    loudness = {"oboe": -31.0, "flute": -24.5}
    found = dots(plot := seat_plot(seats("oboe", "flute"), loudness))
    assert ">LUFS</text>" in plot
    assert sorted(found[:, 1]) == pytest.approx([-31.0, -24.5], abs=0.1)
    assert ">level dB</text>" in seat_plot(seats("oboe", "horn"), loudness)


def test_a_silent_seat_has_no_dot_and_no_seats_no_plot() -> None:
    assert len(dots(seat_plot(seats("oboe", "flute"), {"oboe": -inf, "flute": -24.5}))) == 1
    assert seat_plot([], {}) == ""
    wide = replace(seats("oboe")[0], figures=replace(FIGURES, heard_bearing=-88.0))
    assert dots(seat_plot([wide], {}))[0, 0] == pytest.approx(-88.0, abs=0.2)
