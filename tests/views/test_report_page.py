"""The page of a render: everything in it, nothing it would load, no word of it more than a word."""

from __future__ import annotations

import re
from dataclasses import replace
from math import inf
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.acoustics.decay_curves import BandDecay, HallDecays
from seatwright.acoustics.room import room_of
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.sound.spectra import Picture, third_octaves
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.hall import Hall, Size
from seatwright.stage.scene import Scene
from seatwright.views.html_page import MINUS, POLICY, html_table
from seatwright.views.report import OutputRow, Report, SeatRow, StemRow, hall_row
from seatwright.views.report_page import report_page
from seatwright.views.stage_plan import stage_plan

FIGURES = SeatFigures(-21.25, 3.5, 8.75, 12.5, -1.5, 0.25, -7.5, -9.0, "loudspeakers")
HALL = Hall(size=Size(width=8.0, depth=10.0, height=5.0), reverberation=0.6)
SCENE = Scene(
    seats={  # type: ignore[arg-type]
        "oboe": {"stem": "a", "section": "winds", "instrument": "oboe", "x": 3.0, "y": 4.0},
        "organ": {"stem": "b", "treatment": "untouched", "section": "keys"},
    }
)
REPORT = Report(
    title="Harbour",
    scene="scenes/harbour.toml",
    scene_sha256="ab12",
    seating="divided",
    versions={"seatwright": "0.9", "numpy": "2.4.6"},
    rate=48_000,
    frames=96_000,
    first_frame=24_000,
    encoding="wav PCM_24",
    head="KEMAR: measured by others",
    origin=0.01,
    response_frames=24_000,
    trim_db=-2.25,
    hall=hall_row(room_of(HALL)),
    seats=(
        SeatRow("oboe", "winds", "oboe", "placed", -4.0, 5.5, FIGURES),
        SeatRow("organ", "keys", "other", "untouched", None, None, None),
    ),
    stems=(StemRow("stems/oboe.wav", "cd34", 44_100, 1, 132_300, "PCM_24"),),
    outputs=(
        OutputRow("mix.wav", "mix", "mix", "ef56", -20.25, -1.0, -1.5, 7.25),
        OutputRow("sections/winds.wav", "sections", "winds", "0178", -26.5, -7.5, -8.5),
        OutputRow("sections/keys.wav", "sections", "keys", "0199", -inf, -inf, -inf),
        OutputRow("stems/oboe.wav", "stems", "oboe", "0200", -26.5, -7.5, -8.5),
    ),
    warnings=("harp.wav: resampled from 44100 to 48000 Hz",),
)
BANDS = third_octaves(48_000)
PICTURES = [
    Picture(BANDS, np.linspace(-30.0, -60.0, len(BANDS)) - n, 0.1, np.linspace(-40.0, -20.0, 20))
    for n in range(4)
]
DECAYS = HallDecays(
    "oboe",
    "the listener's head",
    9.25,
    tuple(
        BandDecay(name, 0.6, 0.55, 0.65, (0.0, 0.3, 0.6), (0.0, -29.0, -59.0), (0.0, -30.0, -60.0))
        for name in BAND_NAMES[1:8]
    ),
)


def page(report: Report = REPORT, scene: Scene = SCENE, decays: HallDecays | None = DECAYS) -> str:
    return report_page(report, stage_plan(scene, title=report.title), PICTURES, decays)


PAGE = page()


def parsed(text: str) -> ElementTree.Element:
    """The page as XML, which every tag of it allows."""
    assert text.startswith("<!DOCTYPE html>\n")
    return ElementTree.fromstring(text)


def rows(text: str, caption: str) -> list[list[str]]:
    """Cells of one table, its head first."""
    for table in parsed(text).iter("table"):
        if (table.findtext("caption") or "").startswith(caption):
            return [["".join(cell.itertext()) for cell in row] for row in table.iter("tr")]
    raise AssertionError(f"no table {caption}")


def test_the_page_is_well_formed_and_has_its_parts() -> None:
    root = parsed(PAGE)
    assert root.get("lang") == "en"
    assert [len(list(root.iter(tag))) for tag in ("h1", "main", "header", "footer")] == [1] * 4
    heads = [each.text for each in root.iter("h2")]
    assert heads == [
        "Warnings", "Outputs", "Over time", "Over frequency", "The stage", "The seats", "The hall",
        "Made of",
    ]  # fmt: skip
    plots = [each for each in root.iter() if each.get("class") == "plot"]
    assert len(plots) == 3 + 3 + 1 + 7


def test_every_number_is_there() -> None:
    assert rows(PAGE, "Levels")[1:] == [
        ["mix.wav", f"{MINUS}20.2", "7.2", f"{MINUS}1.0", f"{MINUS}1.5"],
        ["sections/winds.wav", f"{MINUS}26.5", "-", f"{MINUS}7.5", f"{MINUS}8.5"],
        ["sections/keys.wav", "-", "-", "-", "-"],
        ["stems/oboe.wav", f"{MINUS}26.5", "-", f"{MINUS}7.5", f"{MINUS}8.5"],
    ]
    oboe, organ = rows(PAGE, "Seats in the mix")[1:]
    told = "oboe winds oboe placed -4.0 5.5 -21.2 +3.5 +8.8 +12.5 -1.5 +0.25 -7.5 -9.0"
    assert " ".join(oboe) == told.replace("-", MINUS)
    assert organ == ["organ", "keys", "other", "untouched", *["-"] * 10]
    head, predicted, edt, t30 = rows(PAGE, "Reverberation per octave")
    assert head[1:] == list(BAND_NAMES)
    assert predicted[1:] == [f"{value:.2f}" for value in REPORT.hall.reverberation.values()]
    assert edt == ["EDT s", "-", *["0.55"] * 7, "-"]
    assert t30 == ["T30 s", "-", *["0.65"] * 7, "-"]
    assert rows(PAGE, "Stems as")[1] == ["stems/oboe.wav", "44100", "1", "3.00", "PCM_24"]
    assert ["numpy", "2.4.6"] in rows(PAGE, "Versions")
    assert ["sections/winds.wav", "0178"] in rows(PAGE, "Outputs")
    assert rows(PAGE, "Stems")[0][0] == "stem"
    facts = dict(rows(PAGE, "The render")[1:])
    assert facts["scene"] == "scenes/harbour.toml" and facts["SHA-256 of the scene"] == "ab12"
    assert facts["length of the responses"] == "0.500 s"
    assert facts["sound travel taken away"] == "10.00 ms"
    assert facts["head"] == "KEMAR: measured by others"


def test_words_around_the_numbers() -> None:
    words = " ".join("".join(parsed(PAGE).itertext()).split())
    for part in (
        "seating divided", "2.00 s at 48000 Hz, wav PCM_24, from 0.500 s", "trim -2.25 dB",
        "set a low level", "not for designing rooms", "harp.wav: resampled from 44100 to 48000 Hz",
        "Hall 8 x 10 x 5 m: 400 m3", 'from "oboe" to the listener\'s head, 9.2 m', "cd34",
    ):  # fmt: skip
        assert part in words, part


def test_spectra_are_in_figures_too_after_the_trim() -> None:
    table = rows(PAGE, "Mean power")
    assert table[0] == ["third octave Hz", "mix", "winds", "keys"]
    assert table[1] == ["25", *(f"{MINUS}{value}" for value in ("32.2", "33.2", "34.2"))]
    assert len(table) == 1 + len(BANDS)


def test_plots_have_titles_and_words_and_tables_captions_and_scopes() -> None:
    root = parsed(PAGE)
    svg = "{http://www.w3.org/2000/svg}"
    for drawing in root.iter(f"{svg}svg"):
        assert drawing.get("role") == "img" and drawing.findtext(f"{svg}title")
        assert drawing.get("class") != "plot" or drawing.findtext(f"{svg}desc")
    for table in root.iter("table"):
        assert table.findtext("caption")
        for cell in table.iter("th"):
            assert cell.get("scope") in ("row", "col")
        assert all(row[0].tag == "th" for row in table.iter("tr"))
    for figure in root.iter("figure"):
        assert figure.findtext("figcaption")


def test_the_page_loads_nothing() -> None:
    root = parsed(PAGE)
    assert set(re.findall(r"https?://[^\"'\s<]*", PAGE)) == {"http://www.w3.org/2000/svg"}
    (policy,) = (m for m in root.iter("meta") if m.get("http-equiv") == "Content-Security-Policy")
    assert policy.get("content") == POLICY
    assert POLICY.startswith("default-src 'none'; style-src 'unsafe-inline'; img-src data:")
    assert not {"script", "link", "iframe", "object", "embed", "img", "form", "a"} & {
        each.tag for each in root.iter()
    }
    for each in root.iter():
        assert not any(key.startswith("on") or key in ("src", "href") for key in each.keys())  # noqa: SIM118
    assert not re.search(r"url\(|@import", PAGE.replace("url(#stage)", ""))
    assert PAGE.count('id="') == PAGE.count('id="stage"') == 1


MARKUP = "</bdi></title></style><script>alert('1')</script><img src=x onerror=\"a\">&amp;\u202e"


def named(name: str) -> tuple[Report, Scene]:
    """A report and a scene with this name wherever a name can stand."""
    report = replace(
        REPORT,
        title=name,
        scene=name,
        seating=name,
        head=name,
        encoding=name,
        seats=tuple(replace(row, seat=f"{n}{name}", section=name, instrument=name)
                    for n, row in enumerate(REPORT.seats)),
        stems=(replace(REPORT.stems[0], file=name, encoding=name),),
        outputs=tuple(replace(row, file=name, name=name) for row in REPORT.outputs),
        warnings=(name,),
        versions={name: name},
    )  # fmt: skip
    seat = SCENE.seats["oboe"].model_copy(update={"section": name})
    return report, SCENE.model_copy(update={"title": name, "seats": {name: seat}})


@pytest.mark.parametrize(
    "name",
    [MARKUP, '"\'`=', "\u05d7\u05dc\u05d9\u05dc \u0646\u0627\u064a", "-", "5", "x" * 10_000,
     "caf\udce9", "a\x00\x1b[31m\r\n\ufffe"],
)  # fmt: skip
def test_names_are_inert(name: str) -> None:
    assert acting(name) == []


@given(name=st.text(min_size=1))
@settings(max_examples=15, deadline=None)
def test_any_name_is_inert(name: str) -> None:
    assert acting(MARKUP + name) == []


def tags(text: str) -> list[str]:
    """All elements; those that isolate a name are left out where numbers stand as names."""
    return [each.tag for each in parsed(text).iter() if each.tag != "bdi"]


def acting(name: str) -> list[str]:
    """What of a name does more than stand there: elements, scripts, characters that act."""
    report, scene = named(name)
    text = page(report, scene, replace(DECAYS, seat=name))
    same = tags(text) == tags(page(*named("name")))
    found = [word for word in ("<script", "\u202e") if word in text]
    letters = [letter for letter in text if not (letter.isprintable() or letter == "\n")]
    return ([] if same else ["elements"]) + found + letters


def test_long_names_are_held_in_a_small_frame_and_cut_in_plots() -> None:
    name = "x" * 10_000
    text = page(*named(name))
    assert f'<bdi class="long">{name}</bdi>' in text
    labels = re.findall(r'class="(?:label|head)"[^>]*>([^<]*)<', text)
    assert labels and max(map(len, labels)) <= 60
    assert len(re.findall(r"<title>([^<]*)</title>", text)[0]) <= 90


def test_without_a_hall_without_warnings_without_pictures_of_sections() -> None:
    report = replace(REPORT, warnings=(), seats=REPORT.seats[1:], outputs=REPORT.outputs[3:])
    text = report_page(report, stage_plan(SCENE), PICTURES[:1], None)
    heads = [each.text for each in parsed(text).iter("h2")]
    assert heads == ["Outputs", "The stage", "The seats", "The hall", "Made of"]
    assert 'class="plot"' not in text
    assert len(rows(text, "Reverberation")) == 2


def test_a_table_sets_columns_of_numbers_to_the_right() -> None:
    text = html_table("t", ["a", "b", "c"], [["x", "-1.5", "1a"], ["y", "-", "2"]])
    table = ElementTree.fromstring(text)
    kinds = [[cell.get("class") for cell in row] for row in table.iter("tr")]
    assert kinds == [[None, "number", None]] * 3
    assert html_table("t", ["a"], []).count("<tr>") == 1
