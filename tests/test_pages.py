"""Pages on disk: the report of a render and of a check, from the scene to the file."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from seatwright.acoustics.listening import listening_of, tree_middle
from seatwright.check import check
from seatwright.disk.page_file import refuse_page_place
from seatwright.errors import DiskError, SceneError
from seatwright.pages import heard_decays
from seatwright.stage.scene import Scene
from seatwright.views.conflict_table import move_words

SVG = "{http://www.w3.org/2000/svg}"


def page_at(path: Path) -> ElementTree.Element:
    return ElementTree.fromstring(path.read_text(encoding="utf-8"))


def captions(root: ElementTree.Element) -> dict[str, list[list[str]]]:
    return {
        table.findtext("caption") or "": [
            ["".join(cell.itertext()) for cell in row] for row in table.iter("tr")
        ]
        for table in root.iter("table")
    }


def test_a_render_leaves_a_page_with_the_numbers_of_its_report(quartet: Any) -> None:
    root = page_at(quartet.folder / "whole" / "report.html")
    facts = json.loads((quartet.folder / "whole" / "report.json").read_text(encoding="utf-8"))
    tables = captions(root)
    told = {row[0]: row[1:] for row in tables["Levels after the trim"]}
    for output in facts["outputs"]:
        shown = told[output["file"]][0].replace("\u2212", "-")
        assert float(shown) == pytest.approx(output["integrated_lufs"], abs=0.051)
    seats = {row[0] for row in tables["Seats in the mix"][1:]}
    assert seats == {row["seat"] for row in facts["seats"]} == {"oboe", "violas", "organ", "choir"}
    plots = [each for each in root.iter(f"{SVG}svg") if each.get("class") == "plot"]
    assert len(plots) == 2 * (1 + 3) + 1 + 7
    assert "LUFS" in [text.text for text in root.iter(f"{SVG}text")]  # every stem has its bounce


def test_spectra_are_those_of_the_files_after_their_trim(stage: Any) -> None:
    """By Parseval, third octaves add up to a file's power between their ends."""
    stage.stem("oboe.wav", 4.0 * stage.noise(3, 4.0))
    stage.write('[seats.oboe]\nstem = "oboe.wav"\nbearing = 10\ndistance = 2.4\n')
    stage.render(trim_db=-6.0)
    table = captions(page_at(stage.out / "report.html"))["Mean power in dB relative to full scale"]
    assert table[0][1:] == ["mix", "support"]
    shown = np.array([float(row[1].replace("\u2212", "-")) for row in table[1:]])
    bands = 1000.0 * 10.0 ** (np.arange(-16, -16 + len(shown)) / 10.0)
    low = int(np.argmax(bands > 240.0))
    heard = stage.heard().astype(float)
    power = 2.0 * np.sum(np.abs(np.fft.rfft(heard, axis=0)) ** 2, axis=1) / len(heard) ** 2
    frequency = np.fft.rfftfreq(len(heard), 1.0 / stage.rate)
    inside = (frequency >= bands[low] * 10.0**-0.05) & (frequency < bands[-1] * 10.0**0.05)
    wanted = 10.0 * np.log10(power[inside].sum())
    assert 10.0 * np.log10(np.sum(10.0 ** (shown[low:] / 10.0))) == pytest.approx(wanted, abs=0.3)


def test_an_excerpt_says_where_it_begins(quartet: Any) -> None:
    quartet.render("excerpt", start=1.0, stop=1.5)
    text = (quartet.folder / "excerpt" / "report.html").read_text(encoding="utf-8")
    assert "from 1.000 s" in text
    described = re.findall(r"<desc>Level over time: loudest [-\d.]+ dB at ([\d.]+) s", text)
    assert len(described) == 3  # the choir rests
    assert all(1.0 <= float(second) <= 1.5 for second in described)


def test_a_stem_with_markup_in_its_name_is_only_a_name(stage: Any) -> None:
    name = "<img src=x onerror=alert(1)>"
    stage.stem(f"{name}.wav", stage.noise(1, 0.2))
    stage.write(
        f"[seats.\"{name}\"]\nstem = '{name}.wav'\nsection = '{name}'\nbearing = 1\ndistance = 2\n"
    )
    stage.render()
    check(stage.scene, page=stage.folder / "page.html")
    for path in (stage.out / "report.html", stage.folder / "page.html"):
        assert "img" not in {each.tag for each in page_at(path).iter()}
        assert name in "".join(page_at(path).itertext())


def test_a_check_s_page_tells_who_hides_whom_and_what_mono_leaves(stage: Any) -> None:
    """The cells are those of the printed tables; nothing is said where nobody listened."""
    noise = stage.noise(1, 1.0)
    for name, gain in (("soft", 0.02), ("loud", 0.5)):
        stage.stem(f"{name}.wav", gain * noise)
    stage.write(
        "".join(
            f'[seats.{name}]\nstem = "{name}.wav"\nbearing = {bearing}\ndistance = 3\n'
            for name, bearing in (("soft", 10), ("loud", 25))
        )
    )
    page = stage.folder / "page.html"
    found = check(stage.scene, page=page)
    tables = captions(page_at(page))
    heads, row = tables["Seats that others hide, the most hidden first"]
    ((conflict, move),) = found.conflicts
    assert heads[0] == "seat" and row[0] == "soft" and row[2] == "loud"
    assert row[4] == f"{100 * conflict.share:.0f} %" and row[7] == move_words(move)
    heads, mono, alike = tables["The mix in mono, by octave band in Hz"]
    assert found.fold_down is not None and heads[1:3] == ["63", "125"]
    number = float(mono[-1].replace("\u2212", "-"))
    assert number == pytest.approx(found.fold_down.overall_db, abs=0.06)
    lowest = float(alike[1].replace("\u2212", "-"))
    assert lowest == pytest.approx(found.fold_down.correlation[0], abs=0.006)
    check(stage.scene, page=page, headers_only=True)
    assert not any("mono" in caption for caption in captions(page_at(page)))
    stage.stem("soft.wav", 0.5 * noise)
    check(stage.scene, page=page)
    assert "none by a quarter or more" in "".join(page_at(page).itertext())


def test_only_untouched_seats_leave_the_hall_without_decays(stage: Any) -> None:
    stage.stem("organ.wav", stage.noise(1, 0.2))
    stage.write('[seats.organ]\nstem = "organ.wav"\ntreatment = "untouched"\n')
    stage.render()
    root = page_at(stage.out / "report.html")
    plots = [each for each in root.iter(f"{SVG}svg") if each.get("class") == "plot"]
    assert len(plots) == 4
    assert "Reverberation per octave band in Hz" in captions(root)


def test_decays_are_heard_at_the_head_or_where_it_is_outside_at_the_tree() -> None:
    seats = {"oboe": {"stem": "a", "bearing": 5, "distance": 3}}
    inside = Scene(seats=seats)  # type: ignore[arg-type]
    decays = heard_decays(inside, listening_of(inside), ["oboe"])
    assert decays is not None and decays.where == "the listener's head"
    away = {"head": {"x": 0.0, "y": -99.0, "height": 1.2}}
    outside = Scene(seats=seats, microphones=away)  # type: ignore[arg-type]
    listening = listening_of(outside)
    assert outside.hall.outside(listening.ears.position)
    decays = heard_decays(outside, listening, ["oboe"])
    assert decays is not None and decays.where == "the middle of the tree"
    seat = outside.seats["oboe"].position
    assert decays.distance == pytest.approx(
        np.linalg.norm(np.subtract(seat, tree_middle(listening)))
    )
    assert heard_decays(inside, listening_of(inside), []) is None


def test_a_page_that_cannot_be_written_is_a_fault_of_the_disk(stage: Any) -> None:
    stage.stem("oboe.wav", stage.noise(1, 0.1))
    stage.write('[seats.oboe]\nstem = "oboe.wav"\nbearing = 1\ndistance = 2\n')
    with pytest.raises(DiskError, match=r"gone.page\.html"):
        check(stage.scene, page=stage.folder / "gone" / "page.html")


def test_a_page_may_not_replace_an_input_by_another_name(tmp_path: Path) -> None:
    scene, page = tmp_path / "scene.toml", tmp_path / "page.html"
    scene.write_text("x")
    page.hardlink_to(scene)
    with pytest.raises(SceneError, match="would overwrite the input"):
        refuse_page_place(page, [tmp_path / "gone.wav", scene])
    refuse_page_place(tmp_path / "other.HTML", [scene])
