"""Polar plots: what is drawn is what radiates, and it can be told apart without colour."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.directivity import radiation
from seatwright.acoustics.radiation_table import RADIATION
from seatwright.stage.instruments import INSTRUMENTS
from seatwright.stage.seats import Source
from seatwright.views.polar_plot import families, polar_plot, polar_plots

PUBLISHED = Path(__file__).parents[2] / "scenes" / "radiation"
SVG = "{http://www.w3.org/2000/svg}"
BANDS = {"250": 2, "1k": 4, "4k": 6}
RIM = 960.0
"""Tenths of a pixel at +18 dB; the middle stands at -18 dB."""


def curves(svg: str) -> list[NDArray[np.float64]]:
    """Every closed curve as points around its panel's middle, shape (points, 2)."""
    found = []
    for path in ElementTree.fromstring(svg).iter(f"{SVG}path"):
        outline = path.get("d", "")
        if outline.endswith("z"):
            steps = [step.split(",") for step in outline[1:-1].split()]
            found.append(np.cumsum(np.array(steps, dtype=float), axis=0))
    return found


def levels(curve: NDArray[np.float64]) -> NDArray[np.float64]:
    """dB that the points of a curve stand at."""
    return np.hypot(curve[:, 0], curve[:, 1]) / RIM * 36.0 - 18.0


def test_every_directed_instrument_stands_in_its_familys_plot_once() -> None:
    shown = [(family, name) for family, cells in families().items() for c in cells for name in c]
    wanted = [(each.family, name) for name, each in INSTRUMENTS.items() if RADIATION[name].lobes]
    assert sorted(shown) == sorted(wanted)
    assert len(shown) > 40
    for cells in families().values():
        for first, *others in cells:
            assert all(RADIATION[other].lobes == RADIATION[first].lobes for other in others)


@pytest.mark.parametrize("name", ["violin", "trumpet", "horn", "piano", "soprano"])
def test_curves_seen_from_above_are_the_pattern(name: str) -> None:
    """Read back from the drawing: to the tenth of a pixel the level at every 3 degrees, clockwise
    from ahead of the player, who looks straight upstage."""
    source = Source((0.0, 0.0, 0.0), INSTRUMENTS[name].turned, name)
    angle = np.radians(np.arange(0.0, 360.0, 3.0))
    around = np.stack([np.sin(angle), np.cos(angle), np.zeros(120)], axis=1)
    wanted = 20.0 * np.log10(radiation(source, around))
    found = curves(polar_plot("one", [(name,)]))
    assert len(found) == 6
    for curve, band in zip(found[:3], BANDS.values(), strict=True):
        assert levels(curve) == pytest.approx(wanted[:, band], abs=0.03)
        clockwise = np.unwrap(np.arctan2(curve[:, 0], -curve[:, 1]))
        assert clockwise == pytest.approx(angle, abs=0.01)


def test_upright_curves_go_through_the_main_lobe() -> None:
    """A tuba's bell up; a horn's back and to the right, drawn on the right side, a little down."""
    *_, tuba = curves(polar_plot("one", [("tuba",)]))
    assert np.argmax(levels(tuba)) * 3.0 == pytest.approx(10.0, abs=3.0)
    horn = polar_plot("one", [("horn",)])
    above, upright = curves(horn)[2], curves(horn)[5]
    assert np.argmax(levels(above)) * 3.0 == pytest.approx(150.0)
    assert np.argmax(levels(upright)) * 3.0 == pytest.approx(105.0)
    assert levels(upright).max() > levels(above).max()
    assert ">150° right</text>" in horn


def test_bands_differ_in_their_dashes_and_are_named() -> None:
    svg = polar_plot("winds", [("oboe",)])
    paths = [each for each in ElementTree.fromstring(svg).iter(f"{SVG}path") if each.get("stroke")]
    dashes = {path.get("stroke-dasharray") for path in paths}
    assert len(dashes) == 3
    assert len({(path.get("stroke-dasharray"), path.get("stroke")) for path in paths}) == 3
    for label in ("250 Hz", "1 kHz", "4 kHz", "oboe", "winds", "from above", "upright"):
        assert f">{label}</text>" in svg
    assert "not measurements" in svg


@pytest.mark.parametrize("family", sorted(families()))
def test_drawings_have_a_ground_and_keep_inside_it(family: str) -> None:
    root = ElementTree.fromstring(polar_plots()[family])
    width, height = float(root.get("width", "")), float(root.get("height", ""))
    ground = root.find(f"{SVG}rect")
    assert ground is not None
    assert (ground.get("fill"), ground.get("width")) == ("#ffffff", f"{width:g}")
    for text in root.iter(f"{SVG}text"):
        long = 0.62 * float(text.get("font-size", "11")) * len(text.text or "")
        before = {"middle": 0.5, "end": 1.0}.get(text.get("text-anchor", ""), 0.0) * long
        assert float(text.get("x", "")) - before >= 0.0
        assert float(text.get("x", "")) - before + long <= width
        assert 8.0 < float(text.get("y", "")) < height
    for curve in curves(polar_plots()[family]):
        assert np.hypot(*curve.T).min() > 0.0
        assert np.hypot(*curve.T).max() < RIM


def test_titles_are_escaped() -> None:
    svg = polar_plot("strings < & winds", [("viola",)])
    assert "strings < & winds" in "".join(ElementTree.fromstring(svg).itertext())


def test_published_drawings_are_those_of_the_code() -> None:
    """To a tenth of a pixel, as another machine may round the other way."""
    plots = polar_plots()
    assert {path.stem for path in PUBLISHED.glob("*.svg")} == plots.keys()
    number = re.compile(r"-?\d+(?:\.\d+)?")
    for family, svg in plots.items():
        published = (PUBLISHED / f"{family}.svg").read_text(encoding="utf-8")
        assert number.sub("#", published) == number.sub("#", svg)
        for old, new in zip(curves(published), curves(svg), strict=True):
            assert old == pytest.approx(new, abs=1.0)
