"""SOFA files: what is read, what is refused and in which words."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.direction_triangles import unit_directions
from seatwright.acoustics.measured_head import MeasuredHead
from seatwright.disk.heads import load_head, save_head, scene_head, shipped_head
from seatwright.disk.scene_file import read_scene
from seatwright.disk.sofa import read_sofa
from seatwright.errors import SceneError

RATE, TAPS = 44_100, 128
NEAR, FAR = 30, 54
Places = NDArray[np.float64]


def places() -> Places:
    """Azimuth, elevation, distance of 12 directions on each of 5 rings, and straight up."""
    rings = [(turn, rise, 1.4) for rise in range(-60, 61, 30) for turn in range(0, 360, 30)]
    return np.array([*rings, (0.0, 90.0, 1.4)])


def responses(where: Places) -> NDArray[np.float64]:
    """A click at either ear, later and weaker at the one turned away; the left ear comes first."""
    found = np.zeros((len(where), 2, TAPS))
    for row, (turn, rise, _) in zip(found, where, strict=True):
        left = np.sin(np.radians(turn)) * np.cos(np.radians(rise))
        for ear, side in enumerate((left, -left)):
            start = round(42 - 12 * side)
            row[ear, start : start + 3] = (1.0 + 0.5 * side) * np.array([1.0, 0.3, -0.1])
    return found


def write(
    path: Path, change: Callable[[h5py.File], None] = lambda _file: None, **data: Any
) -> Path:
    """A SOFA file; `data` replaces data sets, None leaves one out; `change` runs last."""
    where = places()
    stored = {
        "Data.IR": responses(where),
        "Data.SamplingRate": np.array([float(RATE)]),
        "Data.Delay": np.zeros((1, 2)),
        "SourcePosition": where,
        "ReceiverPosition": np.array([[[0.0], [0.09], [0.0]], [[0.0], [-0.09], [0.0]]]),
        "ListenerPosition": np.zeros((1, 3)),
        "ListenerView": np.array([[1.0, 0.0, 0.0]]),
        "ListenerUp": np.array([[0.0, 0.0, 1.0]]),
    } | {name.replace("_", "."): value for name, value in data.items()}
    with h5py.File(path, "w") as file:
        for name, value in stored.items():
            if value is not None:
                file[name] = value
        file.attrs["Conventions"] = np.bytes_("SOFA")
        file.attrs["SOFAConventions"] = np.bytes_("SimpleFreeFieldHRIR")
        file.attrs["DataType"] = "FIR"
        file.attrs["ListenerShortName"] = "clicks"
        file.attrs["License"] = "free"
        if "SourcePosition" in file:
            file["SourcePosition"].attrs["Type"] = "spherical"
            file["SourcePosition"].attrs["Units"] = "degree, degree, metre"
        change(file)
    return path


LEFT = np.array([[0.0, 1.0, 0.0]])


def lead_of_left(head: MeasuredHead, direction: NDArray[np.float64] = LEFT) -> float:
    early, late = head.delays(direction, 343.0)[0]
    return float((late - early) * RATE)


def test_azimuth_is_to_the_left_and_delays_are_those_written(tmp_path: Path) -> None:
    head = read_sofa(write(tmp_path / "clicks.sofa"))
    assert (head.name, head.credit, head.rate) == ("clicks", "free", RATE)
    assert lead_of_left(head) == pytest.approx(24.0, abs=0.1)
    assert lead_of_left(head, -LEFT) == pytest.approx(-24.0, abs=0.1)
    levels = np.abs(np.fft.rfft(head.filters(LEFT, RATE, 343.0)[0], 1024)[:, 60:300]).mean(axis=1)
    assert levels[0] / levels[1] == pytest.approx(3.0, rel=0.03)


def test_clicks_of_mirrored_ears_keep_one_ear(tmp_path: Path) -> None:
    assert read_sofa(write(tmp_path / "clicks.sofa")).taps.shape[1] == 1
    uneven = responses(places())
    uneven[5, 1, 90] = 0.2
    head = read_sofa(write(tmp_path / "uneven.sofa", Data_IR=uneven))
    assert head.taps.shape[1] == 2
    assert lead_of_left(head) == pytest.approx(24.0, abs=0.1)


def test_written_delays_are_added(tmp_path: Path) -> None:
    delay = np.zeros((len(places()), 2))
    delay[:, 1] = 7.0
    head = read_sofa(write(tmp_path / "late.sofa", Data_Delay=delay))
    assert lead_of_left(head) == pytest.approx(31.0, abs=0.1)
    shared = read_sofa(write(tmp_path / "shared.sofa", Data_Delay=np.array([[3.0, 0.0]])))
    assert lead_of_left(shared) == pytest.approx(21.0, abs=0.1)


def test_cartesian_places_are_converted(tmp_path: Path) -> None:
    where = places()
    metres = 1.4 * unit_directions(where[:, 0], where[:, 1]) + np.array([1.0, 2.0, 3.0])

    def cartesian(file: h5py.File) -> None:
        file["SourcePosition"].attrs["Type"] = "cartesian"
        file["SourcePosition"].attrs["Units"] = "metre"

    path = write(
        tmp_path / "cartesian.sofa",
        cartesian,
        SourcePosition=metres,
        ListenerPosition=np.array([[1.0, 2.0, 3.0]]),
    )
    assert lead_of_left(read_sofa(path)) == pytest.approx(24.0, abs=0.1)


def test_a_listener_who_looks_elsewhere_and_swapped_ears(tmp_path: Path) -> None:
    looking = read_sofa(write(tmp_path / "looks.sofa", ListenerView=np.array([[0.0, 1.0, 0.0]])))
    ahead = np.array([[1.0, 0.0, 0.0]])
    assert lead_of_left(looking, ahead) == pytest.approx(24.0, abs=0.1)
    ears = np.array([[[0.0], [-0.09], [0.0]], [[0.0], [0.09], [0.0]]])
    swapped = read_sofa(write(tmp_path / "swapped.sofa", ReceiverPosition=ears))
    assert lead_of_left(swapped) == pytest.approx(-24.0, abs=0.1)


def test_of_two_distances_the_farther_is_taken(tmp_path: Path) -> None:
    near, far = places(), places()
    near[:, 2] = 0.3
    weak = 0.2 * responses(near)[:, ::-1]  # would swap the ears
    path = write(
        tmp_path / "both.sofa",
        SourcePosition=np.concatenate([near, far]),
        Data_IR=np.concatenate([weak, responses(far)]),
    )
    head = read_sofa(path)
    assert lead_of_left(head) == pytest.approx(24.0, abs=0.1)
    assert len(head.directions) == len(places()) + 1  # straight down is added


def test_other_rates_sound_alike(tmp_path: Path) -> None:
    """A set at 96 kHz rendered at 48 kHz: the spectrum is that of the set, to 0.1 dB."""
    slow = read_sofa(write(tmp_path / "set.sofa", Data_SamplingRate=np.array([96_000.0])))
    direction = unit_directions(np.array([30.0]), np.array([0.0]))
    there, here = (slow.filters(direction, rate, 343.0)[0, 0] for rate in (96_000, 48_000))
    frequency = np.geomspace(100.0, 18_000.0, 50)
    levels = [
        np.abs(np.exp(-2j * np.pi * np.outer(frequency, np.arange(len(taps))) / rate) @ taps)
        for taps, rate in ((there, 96_000), (here, 48_000))
    ]
    assert 20.0 * np.log10(levels[1] / levels[0]) == pytest.approx(0.0, abs=0.1)


def set_attribute(key: str, value: str) -> Callable[[h5py.File], None]:
    def change(file: h5py.File) -> None:
        file.attrs[key] = value

    return change


def set_units(name: str, value: str, key: str = "Units") -> Callable[[h5py.File], None]:
    def change(file: h5py.File) -> None:
        file[name].attrs[key] = value

    return change


def with_nan() -> NDArray[np.float64]:
    broken = responses(places())
    broken[3, 1, 40] = np.nan
    return broken


def silent() -> NDArray[np.float64]:
    quiet = responses(places())
    quiet[7, 0] = 0.0
    return quiet


FRONT = places()[np.abs((places()[:, 0] + 180.0) % 360.0 - 180.0) < 100.0]
KEPT: Callable[[h5py.File], None] = lambda _file: None  # noqa: E731


@pytest.mark.parametrize(
    ("change", "data", "found", "wanted"),
    [
        (set_attribute("SOFAConventions", "SingleRoomSRIR"), {}, "SingleRoomSRIR",
         "SimpleFreeFieldHRIR"),
        (set_attribute("DataType", "TF"), {}, "type TF", "wanted FIR"),
        (set_attribute("Conventions", "other"), {}, 'without the attribute Conventions = "SOFA"',
         "wanted SOFA"),
        (KEPT, {"Data_IR": None}, "no Data.IR", "SourcePosition"),
        (KEPT, {"Data_IR": responses(places())[:, :1]}, "61 x 1 x 128", "directions x 2 ears"),
        (KEPT, {"Data_IR": np.zeros((61, 2, 4, 128))}, "61 x 2 x 4 x 128", "2 ears x taps"),
        (KEPT, {"Data_IR": np.zeros((0, 2, 128))}, "0 x 2 x 128", "directions x 2 ears"),
        (KEPT, {"Data_IR": with_nan()}, "not finite in 1 of 61", "wanted numbers"),
        (KEPT, {"Data_IR": silent()}, "1 of 61 responses with a silent ear", "sound at both"),
        (KEPT, {"SourcePosition": places()[:50]}, "SourcePosition of 50 x 3", "61 x 3"),
        (KEPT, {"SourcePosition": places() * np.nan}, "SourcePosition with values that are not",
         "numbers"),
        (set_units("SourcePosition", "radian, radian, metre"), {}, "radian,radian,metre",
         "degree, degree, metre"),
        (set_units("SourcePosition", "cylindrical", "Type"), {}, "cylindrical", "cartesian"),
        (set_units("Data.SamplingRate", "kilohertz"), {}, "kilohertz", "wanted hertz"),
        (KEPT, {"Data_SamplingRate": np.array([44.1])}, "44.1 Hz", "8000 to 384000"),
        (KEPT, {"Data_SamplingRate": np.array([44_100.0, 48_000.0])}, "2 sampling rates", "one"),
        (KEPT, {"Data_Delay": np.array([[0.0, np.inf]])}, "not finite", "samples of delay"),
        (KEPT, {"Data_Delay": np.zeros((4, 2))}, "Data.Delay of 4 x 2", "61 x 2"),
        (KEPT, {"SourcePosition": FRONT, "Data_IR": responses(FRONT)}, "a hole of",
         "within 75 degrees"),
        (KEPT, {"SourcePosition": places() + np.array([0, 91, 0])}, "an elevation", "-90 to 90"),
        (KEPT, {"ListenerPosition": np.full((1, 3), 1e300)}, "ListenerPosition with values beyond",
         "smaller ones"),
        (KEPT, {"Data_IR": 1e7 * responses(places())}, "Data.IR with values beyond 1e+06",
         "full scale"),
        (KEPT, {"Data_IR": 1e-300 * responses(places())}, "responses with a silent ear", "sound"),
        (KEPT, {"Data_IR": 1j * responses(places())}, "Data.IR without real numbers", "data set"),
        (KEPT, {"ListenerView": h5py.Empty("f")}, "ListenerView without real numbers", "data set"),
        (lambda file: file.create_group("Data.Delay"), {"Data_Delay": None},
         "Data.Delay without real numbers", "data set"),
        (KEPT, {"SourcePosition": places() * np.array([1.0, 1.0, 0.0])}, "at the head's centre",
         "around the head"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_named(
    tmp_path: Path,
    change: Callable[[h5py.File], None],
    data: dict[str, Any],
    found: str,
    wanted: str,
) -> None:
    path = write(tmp_path / "foreign.sofa", change, **data)
    with pytest.raises(SceneError) as raised:
        read_sofa(path)
    (fault,) = raised.value.faults
    assert fault.file == str(path)
    assert fault.what.startswith("found ") and found in fault.what
    assert wanted in fault.what.split("wanted", 1)[1] or wanted in fault.what


def test_a_huge_set_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = write(tmp_path / "huge.sofa", Data_IR=None)
    with h5py.File(path, "a") as file:
        file.create_dataset("Data.IR", (1_000_000, 2, 65_536), "f8", chunks=(1, 2, 1024))
    with pytest.raises(SceneError, match=r"1000000 x 2 x 65536, wanted at most 33554432 values"):
        read_sofa(path)


def test_broken_files(tmp_path: Path) -> None:
    text = tmp_path / "text.sofa"
    text.write_text("no HDF5")
    whole = write(tmp_path / "whole.sofa").read_bytes()
    short = tmp_path / "short.sofa"
    short.write_bytes(whole[: len(whole) // 3])
    for path, said in (
        (text, "found a file that is not HDF5"),
        (short, "found a SOFA file that cannot be read"),
        (tmp_path / "shorts.sofa", "found no such file"),
    ):
        with pytest.raises(SceneError) as raised:
            read_sofa(path)
        assert raised.value.faults[0].what.startswith(said)
        assert ", wanted " in raised.value.faults[0].what


def scene_with(folder: Path, model: str) -> Path:
    path = folder / "scene.toml"
    path.write_text(
        f'[microphones.head]\nmodel = "{model}"\n[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 5\n'
    )
    return path


def test_a_scene_names_its_head(tmp_path: Path) -> None:
    write(tmp_path / "mine.sofa")
    assert scene_head(read_scene(scene_with(tmp_path, "mine.sofa"))).name == "clicks"
    assert scene_head(read_scene(scene_with(tmp_path, "measured"))) is shipped_head()
    assert scene_head(read_scene(scene_with(tmp_path, "sphere"))).name == "rigid sphere"


def test_a_head_elsewhere_is_refused_unless_asked_for(tmp_path: Path) -> None:
    inner = tmp_path / "scenes"
    inner.mkdir()
    write(tmp_path / "mine.sofa")
    (inner / "link.sofa").symlink_to(tmp_path / "mine.sofa")
    for model in ("../mine.sofa", str(tmp_path / "mine.sofa"), "link.sofa"):
        path = scene_with(inner, model)
        with pytest.raises(SceneError) as raised:
            scene_head(read_scene(path))
        (fault,) = raised.value.faults
        assert (fault.key, fault.line) == ("microphones.head.model", 2)
        assert "allow-outside" in fault.hint
        assert scene_head(read_scene(path, allow_outside=True)).name == "clicks"


def test_a_path_no_disk_could_hold_is_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(SceneError) as raised:
        scene_head(read_scene(scene_with(tmp_path, f"{'a' * 300}.sofa")))
    (fault,) = raised.value.faults
    assert "found no such file, wanted a SOFA file" in fault.what
    assert (fault.key, fault.line) == ("microphones.head.model", 2)


def test_other_words_for_a_head_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SceneError) as raised:
        read_scene(scene_with(tmp_path, "mesured"))
    (fault,) = raised.value.faults
    assert (fault.key, fault.line) == ("microphones.head.model", 2)
    assert 'found model "mesured", wanted "measured", "sphere"' in fault.what
    assert "measured" in fault.hint


def test_compact_form_rounds_below_70_db(tmp_path: Path) -> None:
    head = read_sofa(write(tmp_path / "clicks.sofa"))
    save_head(head, tmp_path / "compact.npz")
    again = load_head(tmp_path / "compact.npz")
    wrong = np.sum((again.taps - head.taps) ** 2, axis=2) / np.sum(head.taps**2, axis=2)
    assert 0.0 < wrong.max() < 10.0**-7.0
    assert np.array_equal(again.delays_measured, head.delays_measured)
    assert (again.name, again.rate, again.onset) == (head.name, head.rate, head.onset)


def test_the_shipped_head_names_its_authors_and_terms() -> None:
    head = shipped_head()
    assert head.taps.shape == (711, 1, 256) and head.rate == 44_100
    assert "Bill Gardner and Keith Martin, MIT Media Lab" in head.credit
    assert "provided the authors are cited" in head.credit
