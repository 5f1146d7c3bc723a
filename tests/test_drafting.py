"""Draft, end to end: folders of real audio become scenes that are read, and grow."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import oaconvolve

from seatwright.cli import main
from seatwright.disk.bounces import BounceWriter
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.casting import cast_scene
from seatwright.disk.scene_file import read_scene
from seatwright.drafting import Draft, draft
from seatwright.errors import Fault, SceneError, StemError
from seatwright.render import render
from seatwright.stage.draft import UNASSIGNED
from seatwright.stage.naming import NameGuess


def make_stems(folder: Path, *names: str) -> Path:
    folder.mkdir(exist_ok=True)
    tone = 0.1 * np.sin(np.arange(4800) * 0.05)
    for name in names:
        soundfile.write(folder / name, tone, 48_000, "PCM_24")
    return folder


def test_a_draft_reads_and_renders_as_it_is(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "Vln I.wav", "Hrn 1.wav", "Hrn 2.wav", "sub.wav", "Tb.wav")
    scene = tmp_path / "cue.toml"
    drafted = draft(stems, scene)
    read = read_scene(scene)
    assert cast_scene(read).rate == 48_000
    assert set(read.scene.seats) == {seat.name for seat in drafted.seats}
    report = render(scene, tmp_path / "out")
    assert {row.name for row in report.outputs} >= {"strings", "brass", "support", UNASSIGNED}


@pytest.mark.parametrize("layout", ["violins-together", "violins-divided", "scoring-stage"])
def test_a_whole_orchestra_with_choir_fits_its_hall(tmp_path: Path, layout: str) -> None:
    names = [
        "violins1.wav", "violins2.wav", "violas.wav", "cellos.wav", "basses.wav", "picc.wav",
        "flutes.wav", "oboes.wav", "english horn.wav", "clarinets.wav", "bass clarinet.wav",
        "bassoons.wav", "contrabassoon.wav", "horn 1-2.wav", "horn 3-4.wav", "trumpets.wav",
        "trombones.wav", "tuba.wav", "timpani.wav", "bass drum.wav", "snare.wav", "cymbals.wav",
        "glockenspiel.wav", "harp.wav", "celesta.wav", "piano.wav", "soprano.wav", "alto.wav",
        "tenor.wav", "choir bass.wav", "solo violin.wav", "solo voice.wav",
    ]  # fmt: skip
    scene = tmp_path / "all.toml"
    drafted = draft(make_stems(tmp_path / "all", *names), scene, layout)
    assert not drafted.open_names
    assert read_scene(scene).warnings == ()


@pytest.mark.parametrize(
    ("stems", "scene", "title"),
    [
        ("harbour_at-dusk", "scene.toml", "harbour at dusk"),
        ("stems", "chorale.toml", "chorale"),
        ("Dry Stems", "scene.toml", "the third act"),
        ("bounces", "bounces.toml", "the third act"),
        ("bounced brass", "chorale.toml", "bounced brass"),
    ],
)
def test_a_scene_is_named_after_what_tells_the_piece(
    tmp_path: Path, stems: str, scene: str, title: str
) -> None:
    piece = tmp_path / "the_third-act"
    piece.mkdir()
    folder = make_stems(piece / stems, "oboe.wav")
    drafted = draft(folder, piece / scene)
    assert read_scene(drafted.scene).scene.title == title


def test_drafting_again_adds_only_what_is_new_and_keeps_every_byte(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "violas.wav", "tuba.wav")
    scene = tmp_path / "cue.toml"
    draft(stems, scene)
    edited = scene.read_text().replace("bearing", "# moved by hand\nbearing", 1) + "# my note\n"
    scene.write_text(edited)
    make_stems(stems, "oboe.wav", "violas.flac")
    grown = draft(stems, scene)
    text = scene.read_text()
    assert text.startswith(edited)
    assert {seat.name for seat in grown.seats} == {"oboes", "violas (2)"}
    assert text.count("[sections.woodwinds]") == 1
    assert text.count("[sections.strings]") == 1
    assert set(read_scene(scene).scene.seats) == {"violas", "tuba", "oboes", "violas (2)"}
    before = scene.read_bytes()
    assert draft(stems, scene).seats == ()
    assert scene.read_bytes() == before


def test_line_ends_of_an_edited_scene_are_kept(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "violas.wav")
    scene = tmp_path / "cue.toml"
    draft(stems, scene)
    scene.write_bytes(scene.read_bytes().replace(b"\n", b"\r\n"))
    make_stems(stems, "oboe.wav")
    draft(stems, scene)
    assert b"\n" not in scene.read_bytes().replace(b"\r\n", b"")
    assert "oboes" in read_scene(scene).scene.seats


def test_a_person_is_asked_about_ambiguous_names(tmp_path: Path) -> None:
    asked: list[NameGuess] = []

    def ask(guess: NameGuess) -> str:
        asked.append(guess)
        return guess.candidates[1]

    drafted = draft(
        make_stems(tmp_path / "cue", "Cor.wav", "tuba.wav"), tmp_path / "c.toml", None, ask
    )
    assert [guess.name for guess in asked] == ["Cor.wav"]
    assert {seat.part for seat in drafted.seats} == {"english horn", "tuba"}
    assert not drafted.open_names


def test_hostile_names_come_out_as_text(tmp_path: Path) -> None:
    names = ['a"b.wav', "back\\slash.wav", "näme 漢字.wav", "# viola.wav", "'; x = 1.wav"]
    scene = tmp_path / "h.toml"
    draft(make_stems(tmp_path / "h", *names), scene)
    seated = [stem for seat in read_scene(scene).scene.seats.values() for stem in seat.stems]
    assert sorted(seated) == sorted(names)


def test_json_lists_what_is_open(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stems = make_stems(tmp_path / "cue", "Cor.wav", "tuba.wav", "blip.wav")
    with pytest.raises(SystemExit) as ended:
        main(["draft", str(stems), "--out", str(tmp_path / "c.toml"), "--json"])
    assert ended.value.code == 0
    told = json.loads(capsys.readouterr().out)
    assert {row["stem"]: row["can_mean"] for row in told["open"]} == {
        "Cor.wav": ["horns", "english horn"], "blip.wav": [],
    }  # fmt: skip
    assert len(told["seats"]) == 3


def bursts(room: float, seed: int = 1) -> np.ndarray:
    """Bursts of noise 1.5 s apart; in a room whose octaves above 3 kHz fall faster, if any."""
    rng, rate = np.random.default_rng(seed), 48_000
    time = np.arange(round(1.5 * rate)) / rate
    level = 10.0 ** (-3.0 * np.maximum(time - 0.2, 0.0) / 0.1)
    dry = np.concatenate([rng.standard_normal(len(time)) * level for _ in range(16)])
    if room == 0.0:
        return np.asarray(0.02 * dry)
    frames = round(1.3 * room * rate)
    hertz, after = np.fft.rfftfreq(frames, 1 / rate), np.arange(frames) / rate
    response = np.zeros(frames)
    for low, high, share in ((0, 3_000, 1.0), (3_000, 6_000, 0.8), (6_000, rate, 0.5)):
        band = np.fft.rfft(rng.standard_normal(frames)) * ((hertz >= low) & (hertz < high))
        response += np.fft.irfft(band, frames) * 10.0 ** (-3.0 * after / (share * room))
    wet = oaconvolve(dry, response / np.sqrt(np.sum(response**2)))
    return np.asarray(0.02 * wet)


def test_a_stem_with_a_room_is_proposed_blended(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stems = make_stems(tmp_path / "cue")
    soundfile.write(stems / "violas.wav", bursts(0.0), 48_000, "PCM_24")
    soundfile.write(stems / "cellos.wav", bursts(0.9), 48_000, "PCM_24")
    scene = tmp_path / "cue.toml"
    with pytest.raises(SystemExit):
        main(["draft", str(stems), "--out", str(scene)])
    out = capsys.readouterr().out
    seats = read_scene(scene).scene.seats
    assert (seats["violas"].treatment, seats["cellos"].treatment) == (None, "blended")
    assert "# heard: cellos.wav: it has a room of about" in scene.read_text()
    (row,) = [row for row in out.splitlines() if row.startswith("cellos.wav")]
    assert "room 0.9 s" in row and "blended" in row


def starts(drafted: Draft) -> list[Fault]:
    return [fault for fault in drafted.faults if "begins" in fault.what]


def test_starts_that_differ_are_left_to_a_person(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "tuba.wav")
    for name, at in (("oboe.wav", 0), ("violas.wav", 96_000)):
        noise = 0.01 * np.random.default_rng(at).standard_normal((4800, 1))
        told = Broadcast(description=name, time_reference=at)
        with BounceWriter(stems / name, 48_000, 1, "PCM_24", 4800, told) as writer:
            writer.write(noise.astype(np.float32))
    scene = tmp_path / "cue.toml"
    drafted = draft(stems, scene)
    assert '# align = "timestamp"  # broadcast starts differ by up to 2.000 s' in scene.read_text()
    assert any("begins 2.000 s after oboe.wav" in fault.what for fault in starts(drafted))
    scene.write_text(scene.read_text().replace("# align", "align"))
    assert read_scene(scene).scene.align == "timestamp"


def test_broken_silent_and_doubled_stems_are_told_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stems = make_stems(tmp_path / "cue", "tuba.wav", "harp.wav", "horns.wav", "oboe.wav")
    soundfile.write(stems / "oboe.wav", np.zeros(4800), 48_000, "PCM_24")
    (stems / "horns.wav").write_bytes(b"no audio at all")
    scene = tmp_path / "cue.toml"
    drafted = draft(stems, scene)
    assert drafted.refused == ("horns.wav",)
    told = [str(fault) for fault in drafted.faults]
    assert any("horns.wav" in text for text in told)
    assert any("oboe.wav: silent" in text for text in told)
    assert any("the same audio" in text for text in told)  # tuba and harp
    assert "horns" not in read_scene(scene).scene.seats
    assert "# CHECK, not seated: horns.wav" in scene.read_text()
    assert "# heard: oboe.wav: silent" in scene.read_text()
    with pytest.raises(SystemExit) as ended:
        main(["draft", str(stems), "--out", str(tmp_path / "again.toml")])
    assert ended.value.code == 0
    assert "not seated: horns.wav" in capsys.readouterr().out


def test_a_half_without_its_other_half_is_told_of_and_not_seated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is seated renders; with the other half there, the pair is seated by drafting again."""
    stems = make_stems(tmp_path / "cue", "tuba.wav", "celli.L.wav", "zap_R.wav", "oboe.wav")
    scene = tmp_path / "cue.toml"
    with pytest.raises(SystemExit) as ended:
        main(["draft", str(stems), "--out", str(scene), "--json"])
    assert ended.value.code == 0
    told = json.loads(capsys.readouterr().out)
    assert told["not_seated"] == ["celli.L.wav", "zap_R.wav"]
    lonely = {Path(row["stem"]).name: row for row in told["warnings"] if "without" in row["what"]}
    assert lonely["celli.L.wav"]["what"] == "found celli.L.wav without celli.R.wav"
    assert lonely["zap_R.wav"]["what"] == "found zap_R.wav without zap_L.wav"
    assert "# CHECK, not seated: celli.L.wav: found celli.L.wav without" in scene.read_text()
    assert set(read_scene(scene).scene.seats) == {"tuba", "oboes"}
    assert cast_scene(read_scene(scene)).channels("tuba") == 1
    make_stems(stems, "celli.R.wav")
    assert [seat.stems for seat in draft(stems, scene).seats] == [("celli.L.wav", "celli.R.wav")]
    assert cast_scene(read_scene(scene)).channels("cellos") == 2


def test_halves_that_do_not_fit_are_not_seated(tmp_path: Path) -> None:
    """Each as casting would refuse it: broken, stereo, of another length, or two for one."""
    stems = make_stems(tmp_path / "cue", "tuba.wav", "a.L.wav", "b.L.wav", "c.L.wav", "d.L.wav")
    (stems / "a.R.wav").write_bytes(b"no audio at all")
    soundfile.write(stems / "b.R.wav", np.full((4800, 2), 0.01), 48_000, "PCM_24")
    soundfile.write(stems / "c.R.wav", np.full(4000, 0.01), 48_000, "PCM_24")
    make_stems(stems, "d.R.flac", "d.R.aiff", "e_L.wav", "e_R.wav")
    scene = tmp_path / "cue.toml"
    drafted = draft(stems, scene)
    assert set(drafted.refused) == {
        "a.L.wav", "a.R.wav", "b.L.wav", "b.R.wav", "c.L.wav", "c.R.wav", "d.L.wav",
        "d.R.aiff", "d.R.flac",
    }  # fmt: skip
    told = {Path(fault.file).name: fault.what for fault in drafted.faults if fault.file}
    assert "a.R.wav" in told["a.L.wav"] and "2 channels" in told["b.L.wav"]
    assert "4000 at 48000 Hz" in told["c.L.wav"] and "d.R.flac" in told["d.L.wav"]
    cast = cast_scene(read_scene(scene))
    assert {name: cast.channels(name) for name in cast.seats} == {"tuba": 1, "e": 2}


def test_a_folder_of_halves_alone_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StemError, match=r"tuba\.L\.wav without tuba\.R\.wav"):
        draft(make_stems(tmp_path / "cue", "tuba.L.wav"), tmp_path / "c.toml")
    assert not (tmp_path / "c.toml").exists()


def test_a_folder_of_broken_stems_alone_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "cue"
    folder.mkdir()
    (folder / "tuba.wav").write_bytes(b"no audio at all")
    with pytest.raises(StemError, match=r"tuba\.wav"):
        draft(folder, tmp_path / "c.toml")
    assert not (tmp_path / "c.toml").exists()


@pytest.mark.parametrize(
    ("make", "error", "message"),
    [
        (lambda path: path / "none", StemError, "found no folder"),
        (lambda path: make_stems(path / "empty"), StemError, "found 0 stems"),
    ],
)
def test_folders_without_stems(tmp_path: Path, make, error, message: str) -> None:
    with pytest.raises(error, match=re.escape(message)):
        draft(make(tmp_path), tmp_path / "c.toml")
    assert not (tmp_path / "c.toml").exists()


def test_an_unknown_layout_names_the_known(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match=r"chambre.*chamber"):
        draft(make_stems(tmp_path / "cue", "tuba.wav"), tmp_path / "c.toml", "chambre")


def test_a_file_that_is_no_scene_is_left_alone(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "tuba.wav")
    other = tmp_path / "notes.toml"
    other.write_text("shopping = 'milk'\n")
    with pytest.raises(SceneError):
        draft(stems, other)
    assert other.read_text() == "shopping = 'milk'\n"


def test_a_scene_of_another_folder_is_refused(tmp_path: Path) -> None:
    scene = tmp_path / "c.toml"
    draft(make_stems(tmp_path / "one", "tuba.wav"), scene)
    with pytest.raises(StemError, match="stems are in"):
        draft(make_stems(tmp_path / "two", "harp.wav"), scene)


@pytest.mark.parametrize(
    "tables",
    [
        'seats = { x = { stem = "tuba.wav", instrument = "tuba", bearing = 0, distance = 5 } }\n',
        "sections = { brass = { perspectives = { tree = 0 } } }\n[seats.x]\n"
        'stem = "tuba.wav"\ninstrument = "tuba"\nbearing = 0\ndistance = 5\n',
    ],
)
def test_tables_that_are_closed_are_left_alone(tmp_path: Path, tables: str) -> None:
    stems = make_stems(tmp_path / "cue", "tuba.wav", "violas.wav")
    scene = tmp_path / "c.toml"
    hall = "{ size = { width = 20, depth = 30, height = 12 }, podium = 10, reverberation = 1.6 }"
    text = f'stems = "cue"\nhall = {hall}\n{tables}'
    scene.write_text(text)
    with pytest.raises(SceneError, match="a table of its own"):
        draft(stems, scene)
    assert scene.read_text() == text


@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("ends", [b"\n", b"\r\n"])
def test_a_scene_without_a_last_line_end_grows(tmp_path: Path, start: bytes, ends: bytes) -> None:
    stems = make_stems(tmp_path / "cue", "violas.wav")
    scene = tmp_path / "cue.toml"
    draft(stems, scene)
    old = start + scene.read_bytes().strip().replace(b"\n", ends)
    scene.write_bytes(old)
    make_stems(stems, "tuba.wav")
    draft(stems, scene)
    assert scene.read_bytes().startswith(old)
    assert set(read_scene(scene).scene.seats) == {"violas", "tuba"}


def test_new_seats_move_into_an_older_hall(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "violas.wav")
    scene = tmp_path / "cue.toml"
    draft(stems, scene, "chamber")
    text = re.sub(r"podium = [\d.]+", "podium = 6.0", scene.read_text())
    scene.write_text(text)
    make_stems(stems, "choir.wav", "trombone.wav", "timpani.wav", *[f"perc {n}.wav" for n in "123"])
    draft(stems, scene, "violins-together")
    assert scene.read_text().startswith(text)
    read = read_scene(scene)
    assert len(read.scene.seats) == 7
    assert read.warnings == ()


def test_a_hall_too_small_for_anybody_is_left_alone(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "violas.wav")
    scene = tmp_path / "cue.toml"
    draft(stems, scene, "chamber")
    text = re.sub(r"podium = [\d.]+", "podium = 4.2", scene.read_text())
    text = re.sub(r"width = 18.0", "width = 6.0", text)
    scene.write_text(text)
    make_stems(stems, "choir.wav")
    with pytest.raises(SceneError, match=r"with new seats: .*outside the hall"):
        draft(stems, scene)
    assert scene.read_text() == text


def test_new_seats_do_not_sit_on_old_ones(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "violas.wav", "blip.wav")
    scene = tmp_path / "cue.toml"
    draft(stems, scene)
    make_stems(stems, "violas pizz.wav", "blop.wav")
    draft(stems, scene)
    assert len(read_scene(scene).scene.seats) == 4
    (doubt,) = read_scene(scene).warnings
    assert doubt.what.startswith("2 seats are not placed yet: blip, blop;")


def test_names_no_scene_can_hold_are_named_all_at_once(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "tuba.wav", "vio\nla.wav", "horn\t1.wav")
    try:
        (stems / "harp_\udcff.wav").write_bytes(b"")
        count = 3
    except OSError:  # a disk that keeps only UTF-8
        count = 2
    with pytest.raises(StemError, match="rename it") as refused:
        draft(stems, tmp_path / "c.toml")
    assert len(refused.value.faults) == count
    assert not (tmp_path / "c.toml").exists()


def test_links_that_lead_nowhere_are_no_stems(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "tuba.wav")
    (stems / "round.wav").symlink_to("round.wav")
    (stems / "dead.wav").symlink_to("nothing.wav")
    (stems / "folder.wav").mkdir()
    assert [seat.stems for seat in draft(stems, tmp_path / "c.toml").seats] == [("tuba.wav",)]


def test_a_linked_scene_stays_a_link(tmp_path: Path) -> None:
    stems = make_stems(tmp_path / "cue", "tuba.wav")
    scene, link = tmp_path / "real.toml", tmp_path / "link.toml"
    draft(stems, scene)
    link.symlink_to(scene)
    make_stems(stems, "harp.wav")
    draft(stems, link)
    assert link.is_symlink()
    assert set(read_scene(scene).scene.seats) == {"tuba", "harp"}


def test_an_unexplained_pair_is_asked_once_and_shares_a_seat(tmp_path: Path) -> None:
    asked: list[str] = []

    def ask(guess: NameGuess) -> str:
        asked.append(guess.name)
        return ""

    stems = make_stems(tmp_path / "cue", "zap.L.wav", "zap.R.wav")
    drafted = draft(stems, tmp_path / "c.toml", None, ask)
    assert asked == ["zap.L.wav"]
    assert [(seat.name, seat.stems) for seat in drafted.seats] == [
        ("zap", ("zap.L.wav", "zap.R.wav"))
    ]


def test_an_interrupted_question_writes_nothing(tmp_path: Path) -> None:
    def ask(_guess: NameGuess) -> str:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        draft(make_stems(tmp_path / "cue", "zap.wav"), tmp_path / "c.toml", None, ask)
    assert [path.name for path in tmp_path.iterdir()] == ["cue"]


def test_mixes_are_listed_and_not_seated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mixes = ("Full Mix.wav", "Ferry_master.wav", "référence.wav", "Klick.wav", "Mix v2.wav")
    stems = make_stems(tmp_path / "cue", *mixes, "Tuba_print.wav", "Santur_print.wav")
    scene = tmp_path / "cue.toml"
    with pytest.raises(SystemExit) as ended:
        main(["draft", str(stems), "--out", str(scene), "--json"])
    assert ended.value.code == 0
    told = json.loads(capsys.readouterr().out)
    assert sorted(told["not_seated"]) == sorted(mixes)
    why = {Path(row["stem"]).name: row["what"] for row in told["warnings"]}
    assert why["Full Mix.wav"].startswith("its name says it is a mix or a guide")
    seats = read_scene(scene).scene.seats
    assert {seat.stem for seat in seats.values()} == {"Tuba_print.wav", "Santur_print.wav"}
    assert "# CHECK, not seated: Full Mix.wav: its name says it is a mix" in scene.read_text()
    with pytest.raises(SystemExit):
        main(["draft", str(stems), "--out", str(tmp_path / "again.toml")])
    assert "not seated: Klick.wav" in capsys.readouterr().out


def test_many_doubts_of_one_kind_are_one_line_and_apart_in_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stems = make_stems(tmp_path / "cue", "tuba.wav")
    for name in ("harp.wav", "horns.wav", "oboe.wav"):
        soundfile.write(stems / name, np.zeros(4800), 48_000, "PCM_24")
    with pytest.raises(SystemExit):
        main(["draft", str(stems), "--out", str(tmp_path / "a.toml")])
    out = capsys.readouterr().out
    assert "\n  3 stems are silent: harp.wav, horns.wav, oboe.wav (was the right track" in out
    assert "silent: found only zeros" not in out
    with pytest.raises(SystemExit):
        main(["draft", str(stems), "--out", str(tmp_path / "b.toml"), "--json"])
    told = [row["what"] for row in json.loads(capsys.readouterr().out)["warnings"]]
    assert sum(what.startswith("silent: ") for what in told) == 3
