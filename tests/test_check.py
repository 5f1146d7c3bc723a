"""Check: what it tells is what a render would tell, and it writes nothing."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seatwright.check import check
from seatwright.cli import main
from seatwright.errors import SceneError
from seatwright.views.check_table import check_table

PAIR = """
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
[seats.organ]
stem = "organ.wav"
treatment = "untouched"
[seatings.further.oboe]
distance = 3.2
"""


@pytest.fixture
def ready(stage: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    for number, (name, channels) in enumerate([("oboe", 1), ("violas", 2), ("organ", 2)]):
        stage.stem(f"{name}.wav", stage.noise(number, 0.3, channels))
    stage.write(PAIR)
    monkeypatch.chdir(stage.folder)
    return stage


def test_figures_are_those_of_a_render(ready: Any) -> None:
    """The same responses: every figure of every seat, the hall, the warnings and the length."""
    report = ready.render()
    found = check(ready.scene, threads=1, headers_only=True)
    assert [seat.seat for seat in found.seats] == ["oboe", "violas", "organ"]
    for ours, theirs in zip(found.seats, report.seats, strict=True):
        assert ours.figures == theirs.figures
        assert (ours.bearing, ours.distance) == (theirs.bearing, theirs.distance)
    assert found.hall == report.hall
    assert found.warnings == report.warnings
    assert (found.rate, found.frames) == (report.rate, report.frames)


def test_seats_in_a_hall_are_measured_at_the_listener(ready: Any) -> None:
    found = check(ready.scene, threads=1)
    oboe, violas, organ = (seat.at_listener for seat in found.seats)
    assert oboe is not None and violas is not None and organ is None
    assert oboe["clarity_db"] != pytest.approx(violas["clarity_db"], abs=0.01)
    assert found.measured is not None
    assert found.measured.single["t30"] == pytest.approx(0.4, rel=0.1)
    assert np.isfinite(list(found.measured.bands["lateral_fraction"].values())).all()
    with_threads = check(ready.scene, threads=2)
    assert with_threads.as_json() == found.as_json()


def test_a_seating_is_checked_in_place_of_the_scene(ready: Any) -> None:
    near, far = check(ready.scene), check(ready.scene, "further")
    first, second = near.seats[0], far.seats[0]
    assert (first.distance, second.distance, far.seating) == (2.2, 3.2, "further")
    assert first.figures is not None and second.figures is not None
    assert second.figures.level_db < first.figures.level_db
    assert second.figures.direct_to_reverberant_db < first.figures.direct_to_reverberant_db
    unmoved = [each.seats[1].figures for each in (near, far)]
    assert len({each.heard_bearing for each in unmoved if each is not None}) == 1
    with pytest.raises(SceneError, match='found no seating "nearer", wanted one of: further'):
        check(ready.scene, "nearer")


def test_untouched_seats_alone_need_no_hall(ready: Any) -> None:
    ready.write('[seats.organ]\nstem = "organ.wav"\ntreatment = "untouched"\n')
    found = check(ready.scene)
    assert found.measured is None
    assert [seat.figures for seat in found.seats] == [None]


def test_a_listener_outside_the_hall_or_at_a_seat_hears_no_figures(ready: Any) -> None:
    """No seat uses the head: behind a podium at the rear wall it is outside; at the oboe's place
    the oboe is left out."""
    low = "[hall]\nsize = { width = 8, depth = 10, height = 5 }\nreverberation = 0.4\npodium = 9.85"
    seat = '[seats.oboe]\nstem = "oboe.wav"\nbearing = -20\ndistance = 2.2\n'
    ready.write(f"{seat}perspectives = {{ close = 0 }}", hall=low)
    found = check(ready.scene)
    assert found.measured is None and found.seats[0].at_listener is None
    assert found.seats[0].figures is not None
    x, y = 2.2 * np.sin(np.radians(-20.0)), 2.2 * np.cos(np.radians(-20.0))
    ready.write(PAIR, head=f"[microphones.head]\nx = {x}\ny = {y}\nheight = 1.2")
    found = check(ready.scene)
    assert found.seats[0].at_listener is None and found.seats[1].at_listener is not None
    assert found.measured is not None and found.measured.places == 1


def test_a_seat_heard_elsewhere_is_warned_of_in_check_and_report(ready: Any) -> None:
    for unused in ("violas.wav", "organ.wav"):
        (ready.folder / unused).unlink()
    seat = '[seats.horns]\nstem = "oboe.wav"\nbearing = 40\ndistance = 6\n'
    hall = "[hall]\nsize = { width = 16, depth = 20, height = 8 }\nreverberation = 0.4\n"
    ready.write(f"{seat}perspectives = {{ tree = 0 }}\n", hall=hall)
    (told,) = check(ready.scene, headers_only=True).warnings
    assert told in ready.render().warnings
    assert "scene.toml:" in told and "seats.horns: heard at +" in told
    ready.write(f"{seat}perspectives = {{ tree = 0, close = 10 }}\n", hall=hall)
    assert check(ready.scene, headers_only=True).warnings == ()


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(["check", *arguments])
    told = capsys.readouterr()
    return int(end.value.code or 0), told.out, told.err


def test_the_command_prints_tables_or_json_and_writes_nothing(
    ready: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    before = ready.digests(".")
    code, out, err = run(capsys, "scene.toml", "--threads", "1")
    assert (code, err) == (0, "")
    for part in ("no faults", "T30 s", "IACC", "violas", "not for designing rooms"):
        assert part in out
    code, out, _ = run(capsys, "scene.toml", "--json", "--seating", "further")
    facts = json.loads(out, parse_constant=pytest.fail)
    assert (code, facts["seating"], facts["seats"][0]["distance"]) == (0, "further", 3.2)
    assert ready.digests(".") == before


def test_the_command_writes_a_page_where_it_is_asked_for(
    ready: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    before = ready.digests(".")
    code, out, err = run(capsys, "scene.toml", "--html", "page.html")
    assert (code, err) == (0, "\nwritten to page.html\n")
    assert "no faults" in out
    page = (ready.folder / "page.html").read_text(encoding="utf-8")
    assert all(part in page for part in ("no faults", "violas", "not for designing rooms"))
    assert page.count('class="plot"') == 7 + 1
    (stems,) = re.findall(r"<h2[^>]*>The stems</h2>.*?</table>", page, re.DOTALL)
    told = next(line for line in out.splitlines() if line.startswith("oboe.wav")).split()
    row = re.sub(r"<[^>]+>", " ", stems[stems.index("oboe.wav") :]).replace("\u2212", "-").split()
    assert row[: len(told)] == told  # length, rate, levels and room as in the terminal
    after = ready.digests(".")
    assert after.pop("page.html") and after == before


@pytest.mark.parametrize("file", ["page.txt", "page", "oboe.wav", "scene.toml"])
def test_a_page_has_an_ending_of_its_own(
    ready: Any, capsys: pytest.CaptureFixture[str], file: str
) -> None:
    before = ready.digests(".")
    code, out, err = run(capsys, "scene.toml", "--html", file)
    assert (code, out) == (2, "")
    assert err == f'seatwright: {file}: found the ending "{Path(file).suffix}", wanted .html\n'
    assert ready.digests(".") == before


def test_a_page_never_overwrites_its_scene(ready: Any, capsys: pytest.CaptureFixture[str]) -> None:
    ready.scene.rename(ready.folder / "scene.html")
    before = ready.digests(".")
    code, _, err = run(capsys, "scene.html", "--html", "scene.html")
    assert code == 2 and "would overwrite the input" in err
    assert ready.digests(".") == before


def test_faults_of_scene_and_stems_come_together_with_their_exit_code(
    ready: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    (ready.folder / "violas.wav").write_text("no audio")
    code, out, err = run(capsys, "scene.toml")
    assert (code, out) == (3, "")
    (ready.folder / "organ.wav").rename(ready.folder / "organs.wav")
    ready.write(PAIR.replace("bearing = 30", "bearin = 30"))
    code, out, err = run(capsys, "scene.toml")
    assert (code, out) == (2, "")
    assert all(part in err for part in ("bearin", "violas.wav", 'no file "organ.wav"'))
    assert all(line.startswith("seatwright: ") for line in err.splitlines())
    assert run(capsys, "gone.toml")[0] == 2


def test_stems_are_heard_and_doubted_at_the_line_of_their_seat(ready: Any) -> None:
    ready.stem("organ.wav", np.zeros((4800, 2)))
    ready.stem("violas.wav", np.repeat(ready.noise(0, 0.3, 1).reshape(-1, 1), 2, axis=1))
    found = check(ready.scene, threads=1)
    oboe, violas, organ = found.stems
    assert (violas.channels, violas.sound.same_channels, organ.sound.silent) == (2, True, True)
    lines = ready.scene.read_text().splitlines()
    silent = [text for text in found.warnings if "silent: found only zeros" in text]
    at = lines.index('stem = "organ.wav"') + 1
    assert len(silent) == 1 and f"scene.toml:{at}: seats.organ.stem: organ.wav: " in silent[0]
    assert any("violas.wav: its two channels are the same" in text for text in found.warnings)
    assert not check(ready.scene, headers_only=True).stems
    facts = json.loads(found.as_json(), parse_constant=pytest.fail)
    assert [stem["silent"] for stem in facts["stems"]] == [False, False, True]
    assert facts["stems"][0]["true_peak_dbtp"] == pytest.approx(oboe.sound.true_peak_dbtp)


def test_the_same_stem_at_another_gain_is_told(ready: Any) -> None:
    noise = ready.noise(0, 0.3, 1)
    ready.stem("oboe.wav", noise)
    ready.stem("violas.wav", 0.5 * noise)
    told = [text for text in check(ready.scene, threads=1).warnings if "the same audio" in text]
    assert len(told) == 1 and "violas.wav: the same audio as oboe.wav, at -6.0 dB" in told[0]


def test_many_doubts_of_one_kind_are_one_line_of_the_text(
    ready: Any,
) -> None:
    for name in ("oboe.wav", "violas.wav", "organ.wav"):
        ready.stem(name, np.zeros(4800))
    found = check(ready.scene, threads=1)
    line = ready.scene.read_text().splitlines().index('stem = "oboe.wav"') + 1
    (told,) = [text for text in found.told if "silent" in text]
    assert f"scene.toml:{line}: seats.oboe.stem: 3 stems are silent: oboe.wav, violas" in told
    assert told in check_table(found)
    facts = json.loads(found.as_json())
    assert sum("silent: found only zeros" in text for text in facts["warnings"]) == 3
    assert "told" not in facts
