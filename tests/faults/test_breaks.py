"""What breaks inside a render names its seat or stem and leaves all earlier outputs alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import seatwright.seat_responses
from seatwright.cli import main
from seatwright.disk.stem_reader import StemReader
from seatwright.errors import RenderError, StemError
from seatwright.sound.mix import Levels, common_trim

BAD = (np.nan, np.inf, 3e38)


def patched_response(monkeypatch: pytest.MonkeyPatch, value: float) -> None:
    real = seatwright.seat_responses.seat_response

    def broken(*arguments: Any) -> Any:
        found = real(*arguments)
        mix = found.mix.copy()
        mix[0, 1, 100] = value
        return replace(found, mix=mix)

    monkeypatch.setattr(seatwright.seat_responses, "seat_response", broken)


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("value", BAD)
@pytest.mark.parametrize("request_", [{"depth": "24"}, {"depth": "float"}])
@pytest.mark.parametrize("trim", [None, -20.0])
def test_no_number_that_is_no_sound_is_ever_written(
    quick: Any,
    monkeypatch: pytest.MonkeyPatch,
    value: float,
    request_: dict[str, str],
    trim: float | None,
) -> None:
    quick.render()
    before = quick.digests()
    patched_response(monkeypatch, value)
    with pytest.raises(RenderError) as caught:
        quick.render(trim_db=trim, **request_)
    told = str(caught.value)
    assert "expected finite numbers" in told or "samples over full scale" in told
    assert "mix.wav: sample " in told or "sections/" in told or value == 3e38
    assert quick.digests() == before


def test_a_trim_is_only_found_of_numbers() -> None:
    for bad in (np.nan, np.inf):
        levels = [Levels(-20.0, level, -6.0) for level in (bad, 3.0)]
        assert common_trim(tuple(levels)) == common_trim(tuple(levels[::-1])) == 0.0
    assert common_trim((Levels(-20.0, 3.0, 2.0),)) == -4.0
    assert common_trim(()) == 0.0


@pytest.mark.parametrize("level", [1.1e6, 1e30, 3e38])
def test_a_float_stem_too_loud_to_be_sound_is_named(quick: Any, level: float) -> None:
    samples = quick.noise(1, 0.1)
    samples[321, 0] = level
    quick.stem("oboe.wav", samples, subtype="FLOAT")
    with pytest.raises(
        StemError, match=r"seats\.oboe\.stem: oboe\.wav: sample .* \(frame 321\)"
    ) as e:
        quick.render()
    assert "expected finite numbers below +120 dBFS" in str(e.value)
    assert not quick.out.exists()


def test_a_float_stem_over_full_scale_is_kept_and_told(quick: Any) -> None:
    quick.stem("oboe.wav", quick.noise(1, 0.1) * 200, subtype="FLOAT")
    report = quick.render()
    assert any("over full scale; kept as it is" in text for text in report.warnings)
    assert report.trim_db < -1.0


def test_a_break_in_a_seats_responses_names_the_seat(
    quick: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    quick.render()
    before = quick.digests()
    real = seatwright.seat_responses.seat_response

    def broken(listening: Any, plan: Any, *more: Any) -> Any:
        if plan.name == "flute":
            raise ZeroDivisionError("division by zero")
        return real(listening, plan, *more)

    monkeypatch.setattr(seatwright.seat_responses, "seat_response", broken)
    with pytest.raises(SystemExit) as end:
        main(["render", "scene.toml", "--out", "out"])
    assert end.value.code == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert "seats.flute: its responses cannot be built: ZeroDivisionError: division by" in line
    assert quick.digests() == before


def test_a_break_while_a_stem_is_read_names_its_file(
    quick: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick.render()
    before = quick.digests()
    real = StemReader.read

    def broken(self: StemReader, start: int, frames: int) -> Any:
        if self.stem.path.name == "harp.wav":
            raise IndexError
        return real(self, start, frames)

    monkeypatch.setattr(StemReader, "read", broken)
    with pytest.raises(RenderError, match=r"harp\.wav: cannot be read: IndexError"):
        quick.render()
    assert quick.digests() == before


def test_lack_of_memory_is_told_as_such(
    quick: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: Any) -> Any:
        raise MemoryError

    quick.render()
    before = quick.digests()
    monkeypatch.setattr(seatwright.seat_responses, "seat_response", broken)
    with pytest.raises(SystemExit) as end:
        main(["render", "scene.toml", "--out", "out"])
    assert end.value.code == 1
    assert capsys.readouterr().err == "seatwright: not enough memory for this render\n"
    assert quick.digests() == before


def test_a_file_name_that_is_not_the_seats_name_is_told(quick: Any) -> None:
    quick.scene.write_text(
        quick.scene.read_text().replace("[seats.oboe]", '[seats."oboe?"]\nsection = "con"')
    )
    report = quick.render(stems=True)
    told = [text for text in report.warnings if "not every disk takes that name" in text]
    assert [text.split(":")[0] for text in told] == [
        '"con" is written to sections/_con.wav',
        '"oboe?" is written to stems/oboe_.wav',
    ]
