"""Benchmarks: ratios in one run against what one would otherwise script. Prints the README's table.

    python benchmarks/run.py            the whole work, about ten minutes
    python benchmarks/run.py --small    a twentieth of it, to see that it runs

Work W: 40 mono stems of 180 s at 48 kHz, responses of 2.2 s, stereo, 6 sections and the mix. What
one would otherwise script: scipy.signal, one convolution a stem and channel, sums in numpy.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

RATE = 48_000
STEMS = 40
SECTIONS = 6
RESPONSE_SECONDS = 2.2
REPEATS = 3
PARTS = (
    "flute", "oboe", "clarinet", "bassoon", "horn", "trumpet", "trombone", "tuba", "timpani",
    "harp", "violin 1", "violin 2", "viola", "cello", "bass",
)  # fmt: skip
LOOKED_AT = [
    f"{number:02} {PARTS[number % len(PARTS)]} {number // len(PARTS) + 1}"
    for number in range(STEMS)
]


def stem(number: int, seconds: float) -> np.ndarray:
    """A dense stem: noise with slow swells, float32 at about -26 dBFS."""
    rng = np.random.default_rng(number)
    frames = int(seconds * RATE)
    swell = 0.6 + 0.4 * np.sin(np.arange(frames, dtype=np.float32) / RATE * (0.3 + 0.01 * number))
    return 0.05 * swell.astype(np.float32) * rng.standard_normal(frames, dtype=np.float32)


def responses() -> list[np.ndarray]:
    """One stereo response a stem: decaying noise, float32, shape (2, frames)."""
    rng = np.random.default_rng(99)
    frames = int(RESPONSE_SECONDS * RATE)
    decay = np.exp(-6.9078 * np.arange(frames) / (1.9 * RATE)).astype(np.float32)
    return [0.02 * decay * rng.standard_normal((2, frames), dtype=np.float32) for _ in range(STEMS)]


def section(number: int) -> int:
    """Section of a stem: neighbours sit together."""
    return number * SECTIONS // STEMS


def timed(work: Callable[[], object]) -> float:
    """Wall seconds of one run."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def scripted(stems: list[np.ndarray], heard: list[np.ndarray], name: str) -> np.ndarray:
    """What one would script: every stem and channel by itself, summed per section; the mix."""
    import scipy.signal  # here, so that it does not count in the memory of a render's process

    convolve = getattr(scipy.signal, name)
    kind = np.float64 if name == "fftconvolve" else np.float32
    frames = len(stems[0]) + heard[0].shape[1] - 1
    sections = np.zeros((SECTIONS, 2, frames), dtype=kind)
    for number, (signal, pair) in enumerate(zip(stems, heard, strict=True)):
        dry = signal.astype(kind)
        for channel in range(2):
            sections[section(number), channel] += convolve(dry, pair[channel].astype(kind))
    return sections.sum(axis=0)


def engine_mix(stems: list[np.ndarray], heard: list[np.ndarray], threads: int) -> np.ndarray:
    """The same by the engine, in memory, no silence skipped."""
    from seatwright.sound.convolution import Engine, Voice
    from seatwright.sound.mix import mix_sum

    frames = len(stems[0]) + heard[0].shape[1] - 1
    voices = (
        Voice(str(n), reader(signal), ((section(n), heard[n]),)) for n, signal in enumerate(stems)
    )
    engine = Engine(voices, SECTIONS, heard[0].shape[1], threads, skip_silence=False, spare=1)
    mix = np.empty((2, frames), dtype=np.float32)
    for start, block in engine.blocks(0, frames):
        mix[:, start : start + block.shape[2]] = mix_sum(block[1:], block.shape[2])
    return mix


def reader(signal: np.ndarray) -> Callable[[int, int], np.ndarray]:
    """(start, frames) of a signal in memory, zeros outside."""

    def read(start: int, frames: int) -> np.ndarray:
        low, high = max(start, 0), min(start + frames, len(signal))
        if high - low == frames:
            return signal[low:high]
        block = np.zeros(frames, dtype=np.float32)
        if high > low:
            block[low - start : high - start] = signal[low:high]
        return block

    return read


def write_scene(folder: Path, seconds: float) -> None:
    """Stems as 24-bit WAV and a scene of six sections whose responses last about 2.2 s."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = ['title = "W"', "[hall]", "reverberation = 1.68", "[hall.surfaces]"]
    for name in ("floor", "ceiling", "left", "right", "upstage", "rear"):
        lines.append(f"{name} = {{ absorption = 0.25 }}")
    for number in range(STEMS):
        soundfile.write(folder / f"{number:02}.wav", stem(number, seconds), RATE, "PCM_24")
        lines += [
            f'[seats."{number:02}"]',
            f'stem = "{number:02}.wav"',
            f'section = "section {section(number)}"',
            f"bearing = {-55 + 110 * number / (STEMS - 1):.2f}",
            f"distance = {5 + number % 6}",
        ]
    (folder / "w.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def file_work(folder: Path) -> float:
    """Seconds for reading all stems and writing mix and bounces with soundfile, nothing else."""

    def work() -> None:
        for number in range(STEMS):
            signal, _ = soundfile.read(folder / f"{number:02}.wav")
        stereo = np.stack([signal, signal], axis=1)
        for number in range(SECTIONS + 1):
            soundfile.write(folder / f"out{number}.wav", stereo, RATE, "PCM_24")

    return timed(work)


def same_work(folder: Path, out: Path) -> None:
    """What the script does, by the engine: read 24 bits, convolve, trim, write mix and bounces."""
    from contextlib import ExitStack

    from seatwright.disk.bounce_folder import BounceFolder, BounceFormat
    from seatwright.disk.raw_blocks import RawBlocks
    from seatwright.disk.stems import StemReader, inspect_stem
    from seatwright.sound.convolution import Engine, Voice
    from seatwright.sound.mix import mix_sum
    from seatwright.stage.routing import Bus

    heard = responses()
    paths = [folder / f"{number:02}.wav" for number in range(STEMS)]
    buses = [Bus("sections", f"section {number}") for number in range(SECTIONS)]
    with ExitStack() as opened:
        stems = [inspect_stem(path)[0] for path in paths]
        frames = stems[0].frames + heard[0].shape[1] - 1
        form = BounceFormat("wav", "PCM_24", RATE, frames)
        outputs = opened.enter_context(BounceFolder(out, buses, form, paths))
        raw = opened.enter_context(RawBlocks(out))

        def mono(number: int) -> Callable[[int, int], np.ndarray]:
            stem_reader = opened.enter_context(StemReader(stems[number], RATE))
            return lambda start, count: stem_reader.read(start, count)[:, 0]

        voices = (Voice(str(n), mono(n), ((section(n), heard[n]),)) for n in range(STEMS))
        engine = Engine(voices, SECTIONS, heard[0].shape[1], 2, skip_silence=False, spare=1)
        peak = 0.0
        for _, block in engine.blocks(0, frames):
            block[0] = mix_sum(block[1:], block.shape[2])
            peak = max(peak, float(block.max()), -float(block.min()))
            raw.write(block)
        trim_db = min(0.0, -20.0 * np.log10(max(peak, 1e-9)) - 0.1)
        outputs.write(raw.read, trim_db, lambda _share: None, 2)
        outputs.commit({})


def whole_render(folder: Path, out: Path) -> None:
    """All of `seatwright render`: also builds responses, measures, hashes, reports."""
    from seatwright.render import render
    from seatwright.stage.request import Request

    report = render(folder / "w.toml", out, Request(threads=2))
    print(f"  responses {report.response_frames / RATE:.2f} s", file=sys.stderr)


def kept_render(folder: Path, out: Path) -> None:
    """The same with the store of results beside the outputs."""
    from seatwright.disk.store import Store
    from seatwright.render import render
    from seatwright.stage.request import Request

    store = Store(out.with_name(f"{out.name} store"))
    render(folder / "w.toml", out, Request(threads=2), store=store)
    if store.doubts:
        raise SystemExit(f"the store doubts: {store.doubts}")


def move_a_seat(scene: Path, by: float) -> None:
    """Turn the seat of stem 24, not the nearest one, by some degrees about the podium."""
    lines = scene.read_text(encoding="utf-8").splitlines()
    place = lines.index('[seats."24"]') + 3
    lines[place] = f"bearing = {float(lines[place].split('=')[1]) + by:.2f}"
    scene.write_text("\n".join(lines) + "\n", encoding="utf-8")


def same_files(one: Path, other: Path) -> bool:
    """Whether two folders hold the same audio, byte for byte."""
    found = [
        {path.relative_to(root): path.read_bytes() for path in root.rglob("*.wav")}
        for root in (one, other)
    ]
    return bool(found[0]) and found[0] == found[1]


def again_seconds(folder: Path) -> tuple[float, float, float]:
    """Medians of a render with a store from nothing, after a moved seat, with nothing changed."""
    spent: dict[str, list[float]] = {"nothing": [], "moved": [], "same": []}
    for number in range(REPEATS):
        out = folder / f"again {number}"
        spent["nothing"].append(in_child("kept_render", folder / "w", out)[0])
        time.sleep(2.5)  # no file is trusted by its time alone within two seconds
        in_child("kept_render", folder / "w", out)
        spent["same"] += [in_child("kept_render", folder / "w", out)[0] for _ in range(2)]
        for _ in range(2):
            move_a_seat(folder / "w" / "w.toml", 0.8)
            spent["moved"].append(in_child("kept_render", folder / "w", out)[0])
        if number == 0:
            in_child("whole_render", folder / "w", folder / "anew")
            if not same_files(out, folder / "anew"):
                raise SystemExit("after a moved seat the samples are not those from nothing")
        shutil.rmtree(out)
        shutil.rmtree(out.with_name(f"{out.name} store"))
    print("  again:", {k: [round(t, 2) for t in v] for k, v in spent.items()}, file=sys.stderr)
    nothing, moved, same = (float(np.median(spent[key])) for key in ("nothing", "moved", "same"))
    return nothing, moved, same


def first_look(folder: Path) -> float:
    """Seconds of `seatwright draft`, then `seatwright check`: two processes, an empty store."""
    place = folder / "look"
    environment = {**os.environ, "SEATWRIGHT_STORE": str(place / "store")}
    place.mkdir()
    scene = place / "look.toml"
    stems = folder / "look-stems"
    stems.mkdir()
    for number, name in enumerate(LOOKED_AT):
        (stems / f"{name}.wav").hardlink_to(folder / "w" / f"{number:02}.wav")
    begin = time.perf_counter()
    for words in (["draft", str(stems), "--out", str(scene)], ["check", str(scene)]):
        command = [sys.executable, "-m", "seatwright", *words]
        subprocess.run(command, check=True, capture_output=True, env=environment)
    return time.perf_counter() - begin


def in_child(work: str, folder: Path, out: Path) -> tuple[float, float]:
    """Wall seconds, imports not counted, and peak memory in MB of one of the two in a process."""
    code = (
        "import sys, time; from pathlib import Path\n"
        f"sys.path.insert(0, {str(Path(__file__).parent)!r})\n"
        "import run, seatwright.render, seatwright.disk.bounce_folder\n"
        "begin = time.perf_counter()\n"
        f"run.{work}(Path({str(folder)!r}), Path({str(out)!r}))\n"
        "spent = time.perf_counter() - begin\n"
        # not ru_maxrss, which a child inherits from the process that forked it
        "lines = Path('/proc/self/status').read_text().splitlines()\n"
        "peak = next(int(line.split()[1]) for line in lines if line.startswith('VmHWM'))\n"
        "print(spent, peak / 1024)"
    )
    printed = subprocess.run(
        [sys.executable, "-c", code], check=True, stdout=subprocess.PIPE, text=True
    ).stdout.split()
    return float(printed[0]), float(printed[1])


def seat_build(instrument: str) -> float:
    """Ratio of pyroomacoustics' compute_rir at order 10 to our whole responses, 8 microphones."""
    import pyroomacoustics as pra

    from seatwright.acoustics.impulse_response import Grid, generator_for, microphone_responses
    from seatwright.acoustics.room import room_of
    from seatwright.stage.hall import Hall
    from seatwright.stage.microphones import Microphones, close_microphone, hall_microphones
    from seatwright.stage.seats import Source

    hall = Hall()
    room = room_of(hall)
    source = Source((2.0, 5.0, 1.2), 180.0, instrument)
    microphones = hall_microphones(Microphones(), hall)
    spot = close_microphone(Microphones().close, source.position, (1.0, 1.0))
    grid = Grid(RATE, int(RESPONSE_SECONDS * RATE), 0.0)
    groups = [(microphones, 0.0), ((spot,), 0.01)]

    def ours() -> None:
        names = (*(m.name for m in microphones), "close")
        generators = [generator_for(room, "seat", 0, name) for name in names]
        microphone_responses(room, source, groups, grid, generators)

    bands = {
        "coeffs": list(room.absorption[2][1:8]),
        "center_freqs": [125 * 2**k for k in range(7)],
    }
    corner = np.array(room.low_corner)

    def theirs() -> None:
        shoebox = pra.ShoeBox(
            list(room.size), fs=RATE, max_order=10,
            materials=pra.Material(energy_absorption=bands), air_absorption=True,
        )  # fmt: skip
        shoebox.add_source((np.array(source.position) - corner).tolist())
        places = [np.array(m.position) - corner for m in (*microphones, spot)]
        shoebox.add_microphone_array(np.array(places).T)
        shoebox.compute_rir()

    # in turn, so that the machine's mood is the same for both
    pairs = [(timed(theirs), timed(ours)) for _ in range(1 + 2 * REPEATS)][1:]
    mine = float(np.median([pair[1] for pair in pairs]))
    print(f"  responses of one seat: {mine * 1000:.0f} ms", file=sys.stderr)
    return float(np.median([theirs_s / ours_s for theirs_s, ours_s in pairs]))


def help_seconds() -> float:
    """CPU seconds of `seatwright --help`."""
    command = [sys.executable, "-m", "seatwright", "--help"]
    subprocess.run(command, check=True, capture_output=True)
    spent = []
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return float(np.median(spent))


def run(seconds: float) -> list[tuple[str, str, str]]:
    """All benchmarks; what, reach and figure of each."""
    stems = [stem(number, seconds) for number in range(STEMS)]
    heard = responses()
    kept: dict[str, np.ndarray] = {}

    def baseline() -> None:
        kept["exact"] = scripted(stems, heard, "fftconvolve")

    def ours() -> None:
        kept["mix"] = engine_mix(stems, heard, 1)

    ours()
    # in turn, as a machine's speed drifts within minutes
    engine_runs = [timed(ours) for _ in range(REPEATS)]
    scripted_seconds = timed(baseline)
    print(f"  fftconvolve: {scripted_seconds:.1f} s", file=sys.stderr)
    engine_runs += [timed(ours) for _ in range(REPEATS)]
    oa_seconds = timed(lambda: scripted(stems, heard, "oaconvolve"))
    print(f"  oaconvolve: {oa_seconds:.1f} s", file=sys.stderr)
    engine_runs += [timed(ours) for _ in range(REPEATS)]
    engine_seconds = float(np.median(engine_runs))
    print(f"  engine: {engine_seconds:.2f} s", *(f"{t:.2f}" for t in engine_runs), file=sys.stderr)
    error = np.abs(kept["mix"] - kept["exact"]).max()
    peak = np.abs(kept["exact"]).max()
    error_db = 20.0 * np.log10(error / max(1.0, peak))
    stems.clear()
    kept.clear()
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        write_scene(folder / "w", seconds)
        files = file_work(folder / "w")
        same = [in_child("same_work", folder / "w", folder / "same") for _ in range(REPEATS)]
        whole = [in_child("whole_render", folder / "w", folder / "out") for _ in range(REPEATS)]
        same_wall, whole_wall = (float(np.median([t for t, _ in runs])) for runs in (same, whole))
        memory = max(megabytes for _, megabytes in whole)
        print(
            f"  file to file: {same_wall:.1f} s, whole render {whole_wall:.1f} s, "
            f"file work alone {files:.1f} s",
            file=sys.stderr,
        )
        nothing, moved, unchanged = again_seconds(folder)
        looked = first_look(folder)
        write_scene(folder / "w4", 4 * seconds)
        _, memory_longer = in_child("whole_render", folder / "w4", folder / "out4")
    growth = 100.0 * (memory_longer / memory - 1.0)
    return [
        ("engine in memory, 1 thread, against scipy.signal.fftconvolve float64", ">= 24",
         f"{scripted_seconds / engine_seconds:.1f}"),
        ("the same against scipy.signal.oaconvolve float32", ">= 8",
         f"{oa_seconds / engine_seconds:.1f}"),
        ("file to file, 2 threads, against fftconvolve plus the same file work", ">= 18",
         f"{(scripted_seconds + files) / same_wall:.1f}"),
        ("a whole render, responses, loudness, true peaks and hashes too, against the same", "",
         f"{(scripted_seconds + files) / whole_wall:.1f}"),
        ("peak memory of the whole render", "< 400 MB", f"{memory:.0f} MB"),
        (f"its growth from {seconds:.0f} s to {4 * seconds:.0f} s", "< 5 %", f"{growth:.1f} %"),
        ("responses of one seat, 8 microphones, against compute_rir order 10", ">= 20",
         f"{seat_build('other'):.1f}"),
        ("the same with an instrument's radiation, which compute_rir has not", "",
         f"{seat_build('oboe'):.1f}"),
        ("largest error of the mix against float64", "< -120 dBFS", f"{error_db:.0f} dBFS"),
        ("a render with a store after one moved seat, against from nothing, same bits", ">= 8",
         f"{nothing / moved:.1f}"),
        ("the same with nothing changed", ">= 30", f"{nothing / unchanged:.0f}"),
        ("draft, then check, as commands", "< 10 s", f"{looked:.1f} s"),
        ("seatwright --help", "< 0.3 s CPU", f"{help_seconds():.2f} s"),
    ]  # fmt: skip


def main() -> None:
    """Print the table in Markdown."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="a twentieth of the work")
    seconds = 9.0 if parser.parse_args().small else 180.0
    rows = run(seconds)
    print("| what | reach | measured |\n| --- | --- | --- |")
    for what, reach, figure in rows:
        print(f"| {what} | {reach} | {figure} |")


if __name__ == "__main__":
    main()
