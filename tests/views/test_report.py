"""The report: every figure in JSON and in words, and nothing a terminal would act on."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.acoustics.room import room_of
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.hall import Hall, Size
from seatwright.stage.scene import Scene
from seatwright.views.report import (
    SEAT_LEGEND,
    OutputRow,
    Report,
    SeatRow,
    StemRow,
    hall_row,
    report_table,
    seat_rows,
    trim_warnings,
)

FIGURES = SeatFigures(-21.25, 3.5, 8.75, 12.5, -1.5, 0.25, -7.5, -9.0, "loudspeakers")
HALL = Hall(size=Size(width=8.0, depth=10.0, height=5.0), reverberation=0.6)
REPORT = Report(
    title="Harbour",
    scene="scenes/harbour.toml",
    scene_sha256="ab",
    seating="",
    versions={"seatwright": "0"},
    rate=48_000,
    frames=96_000,
    first_frame=0,
    encoding="wav PCM_24",
    head="",
    origin=0.01,
    response_frames=9,
    trim_db=-2.25,
    hall=hall_row(room_of(HALL)),
    seats=(
        SeatRow("oboe", "winds", "oboe", "placed", -4.0, 5.5, FIGURES),
        SeatRow("organ", "keys", "other", "untouched", None, None, None),
    ),
    stems=(StemRow("oboe.wav", "cd", 48_000, 1, 5, "PCM_24"),),
    outputs=(
        OutputRow("mix.wav", "mix", "mix", "ef", -20.25, -1.0, -1.5, 7.3),
        OutputRow("sections/keys.wav", "sections", "keys", "01", -inf, -inf, -inf),
    ),
    warnings=("harp.wav: resampled from 44100 to 48000 Hz",),
)


def test_json_holds_everything() -> None:
    facts = json.loads(REPORT.as_json())
    assert facts["report_format"] == 1
    assert (facts["rate"], facts["trim_db"], facts["warnings"]) == (
        48_000,
        -2.25,
        list(REPORT.warnings),
    )
    assert facts["seats"][0]["figures"]["clarity_db"] == 8.75
    assert facts["seats"][1]["figures"] is None
    assert facts["stems"][0]["sha256"] == "cd"
    assert facts["hall"]["volume"] == pytest.approx(400.0)
    assert list(facts["hall"]["reverberation"]) == list(BAND_NAMES)


@pytest.mark.parametrize("value", [inf, -inf, nan])
def test_figures_without_a_value_are_null(value: float) -> None:
    figures = replace(FIGURES, heard_bearing=value)
    seats = (replace(REPORT.seats[0], figures=figures),)
    facts = json.loads(replace(REPORT, seats=seats).as_json(), parse_constant=pytest.fail)
    assert facts["seats"][0]["figures"]["heard_bearing"] is None
    assert facts["seats"][0]["figures"]["lateral_db"] == -1.5
    assert facts["outputs"][1]["integrated_lufs"] is None


def test_table_shows_seats_outputs_hall_and_warnings() -> None:
    lines = [" ".join(line.split()) for line in report_table(REPORT).splitlines()]
    assert lines[0] == "Harbour"
    assert "2.00 s at 48000 Hz, wav PCM_24; trim -2.25 dB on every output" in lines
    assert any(line.startswith("Hall 8 x 10 x 5 m: 400 m3, 340 m2") for line in lines)
    assert "oboe winds placed -4.0 5.5 -21.2 +3.5 +8.8 +12.5 -1.5 +0.25 -7.5 -9.0" in lines
    assert "organ keys untouched - - - - - - - - - -" in lines
    assert "mix.wav -20.2 7.3 -1.0 -1.5" in lines
    assert "sections/keys.wav - - - -" in lines
    assert "harp.wav: resampled from 44100 to 48000 Hz" in lines


def test_every_column_of_the_seat_table_is_said_in_a_line() -> None:
    lines = report_table(REPORT).splitlines()
    heads = next(line for line in lines if line.startswith("seat "))
    names = [name for name, _ in SEAT_LEGEND]
    assert heads.split() == ["seat", "section", "treatment", *" ".join(names).split()]
    for name, text in SEAT_LEGEND:
        (line,) = (line for line in lines if line.startswith(f"  {name} "))
        assert line.endswith(text) and len(line) <= 100


def test_heading_names_seating_and_excerpt() -> None:
    text = report_table(replace(REPORT, seating="divided", first_frame=24_000))
    assert text.startswith("Harbour, seating divided\n")
    assert ", from 0.500 s; trim" in text
    assert report_table(replace(REPORT, title="")).startswith("scenes/harbour.toml\n")


def test_no_warnings_no_heading_for_them() -> None:
    assert "Warnings" not in report_table(replace(REPORT, warnings=()))


HOSTILE = "a\x1b[31m\x9b2J\r\n\u202egnp\u200b"


@given(name=st.text(min_size=1))
def test_any_name_is_inert_in_table_and_json(name: str) -> None:
    hostile = HOSTILE + name
    report = replace(
        REPORT,
        title=hostile,
        seats=(replace(REPORT.seats[0], seat=hostile, section=hostile),),
        outputs=(replace(REPORT.outputs[0], file=hostile),),
    )
    plain = report_table(REPORT).count("\n")
    table, text = report_table(report), report.as_json()
    assert all(letter.isprintable() or letter == "\n" for letter in table + text)
    assert table.count("\n") == plain - 2
    assert json.loads(text)["seats"][0]["seat"] == hostile
    (table + text).encode("utf-8")


def test_bytes_that_are_no_text_come_through_as_escapes() -> None:
    """As Python names a path whose bytes are no UTF-8."""
    report = replace(REPORT, scene="caf\udce9.toml", title="")
    assert "caf\\udce9.toml" in report.as_json()
    assert report_table(report).startswith("caf\\udce9.toml\n")
    assert json.loads(report.as_json())["scene"] == "caf\udce9.toml"


def test_seat_rows_have_the_place_from_the_podium() -> None:
    scene = Scene(
        seats={  # type: ignore[arg-type]
            "oboe": {"stem": "a", "instrument": "oboe", "x": 3.0, "y": 4.0},
            "organ": {"stem": "b", "treatment": "untouched", "section": "keys"},
            "gone": {"stem": "c", "x": 1.0, "y": 1.0},
        }
    )
    first, second = seat_rows(scene, ("oboe", "organ"), {"oboe": FIGURES})
    assert (first.seat, first.instrument, first.treatment) == ("oboe", "oboe", "placed")
    assert first.distance == pytest.approx(5.0)
    assert first.bearing == pytest.approx(36.8699, abs=1e-4)
    assert (second.section, second.bearing, second.distance, second.figures) == (
        "keys",
        None,
        None,
        None,
    )


def test_hall_row_is_the_rooms() -> None:
    row = hall_row(room_of(HALL))
    assert (row.volume, row.surface) == (pytest.approx(400.0), pytest.approx(340.0))
    middle = (row.reverberation["500"] + row.reverberation["1k"]) / 2
    assert middle == pytest.approx(0.6, rel=0.05)
    assert 340.0 < row.speed_of_sound < 347.0


def test_outputs_above_the_ceiling_are_named() -> None:
    loud = replace(REPORT.outputs[0], true_peak_dbtp=0.5)
    assert trim_warnings((REPORT.outputs[0], loud)) == [
        "mix.wav: true peak +0.50 dBTP, above -1 dBTP"
    ]
