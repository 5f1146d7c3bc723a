"""What is convolved for a seat: its stereo responses by its treatment and microphone balance.

Conventions: responses are float32, shape (sources, 2, frames): what each channel of the stem
sends to the left and right output.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import (
    Grid,
    early_at_head,
    early_responses,
    generator_for,
    head_responses,
    microphone_arrivals,
    microphone_responses,
    tail_responses,
)
from seatwright.acoustics.kept_tails import KeptTails
from seatwright.acoustics.listening import Listening, SeatPlan, middle_source, others_open
from seatwright.acoustics.localisation import level_for_angle, pan_gains
from seatwright.acoustics.panning import close_spot, pan_angle, tree_hearing
from seatwright.acoustics.reflections import Arrivals
from seatwright.acoustics.spectral_figures import (
    MiddleEnergies,
    MiddleOctaves,
    spectral_figures,
)
from seatwright.acoustics.spill import spill_responses
from seatwright.stage.microphones import Microphone
from seatwright.stage.seats import Source

Gains = NDArray[np.float32]
"""Into left and right, shape (2,)."""


@dataclass(frozen=True)
class SeatResponse:
    """A seat's responses, ready to be convolved.

    Parameters
    ----------
    mix : ndarray, shape (sources, 2, frames)
        All perspectives together, with balance, held loudness and gain in them.
    perspectives : dict of str to ndarray, shape (sources, 2, frames)
        The parts of the mix, where they were asked for.
    direct : ndarray, shape (sources, 2, early frames)
        The direct sound alone, without spill, with the same gains.
    middle : MiddleOctaves
        The mix in the octaves that single figures are taken over.
    energies : MiddleEnergies
        Of the direct sound and the rest, in the same octaves, before any gain.
    level_db : float
        K-weighted gain before it was held: what distance and balance do by themselves.
    """

    mix: NDArray[np.float32]
    perspectives: dict[str, NDArray[np.float32]]
    direct: NDArray[np.float32]
    middle: MiddleOctaves
    energies: MiddleEnergies
    level_db: float


def seat_response(
    listening: Listening,
    plan: SeatPlan,
    grid: Grid,
    apart: bool = False,
    kept: KeptTails | None = None,
) -> SeatResponse:
    """Responses of one seat.

    Parameters
    ----------
    listening : Listening
    plan : SeatPlan
    grid : Grid
    apart : bool
        Also each perspective by itself; does not change the mix.
    kept : KeptTails, optional
        Of the listening's room, for a seat that is moved time and again; changes no sample.

    Returns
    -------
    SeatResponse
    """
    mixing = _Mixing(len(plan.sources), grid.frames, apart)
    build = _place if plan.treatment == "placed" else _blend
    direct = build(listening, plan, grid, mixing, kept)
    power, middle, energies = spectral_figures(mixing.mix, direct, grid.rate)
    power /= len(plan.sources)
    gain = 10.0 ** (plan.gain_db / 20.0)
    if plan.held and power > 0.0:
        gain /= power**0.5
    scaled = np.float32(gain)
    for responses in (mixing.mix, direct, middle.responses, *mixing.parts.values()):
        responses *= scaled
    level_db = 10.0 * float(np.log10(max(power, 1e-30)))
    return SeatResponse(mixing.mix, mixing.parts, direct, middle, energies, level_db)


class _Mixing:
    """Adds microphones up, on request also each perspective apart."""

    def __init__(self, sources: int, frames: int, apart: bool):
        self.mix = np.zeros((sources, 2, frames), dtype=np.float32)
        self.parts: dict[str, NDArray[np.float32]] = {}
        self._apart = apart

    def add(self, perspective: str, source: int, signal: NDArray[np.float32], gains: Gains) -> None:
        """Add one microphone's signal, shape (frames or less,), into left and right."""
        panned = [(channel, signal * gain) for channel, gain in enumerate(gains) if gain != 0.0]
        for into in self._targets(perspective):
            for channel, part in panned:
                into[source, channel, : len(part)] += part

    def keep_apart(self, perspective: str) -> None:
        """Have a perspective apart even where nothing is added to it."""
        self._targets(perspective)

    def _targets(self, perspective: str) -> list[NDArray[np.float32]]:
        if not self._apart:
            return [self.mix]
        if perspective not in self.parts:
            self.parts[perspective] = np.zeros_like(self.mix)
        return [self.mix, self.parts[perspective]]


def _place(
    listening: Listening, plan: SeatPlan, grid: Grid, mixing: _Mixing, kept: KeptTails | None
) -> NDArray[np.float32]:
    """Add a placed seat's microphones to the mix; gives the direct sound."""
    balance = dict(plan.balance)
    directs = []
    for index, source in enumerate(plan.sources):
        groups, gains, names = _microphone_groups(listening, source, balance)
        rows = [m for group, _ in groups for m in group]
        generators = [generator_for(listening.room, plan.name, index, m.name) for m in rows]
        if rows:
            responses = microphone_responses(listening.room, source, groups, grid, generators, kept)
            for row, gain, name in zip(responses, gains, names, strict=True):
                mixing.add(name, index, row, gain)
        if "head" in balance:
            ears = _at_head(listening, plan, index, grid)
            level = np.float32(10.0 ** (balance["head"] / 20.0))
            mixing.add("head", index, ears[0], np.array([level, 0.0], dtype=np.float32))
            mixing.add("head", index, ears[1], np.array([0.0, level], dtype=np.float32))
        if listening.open_seats:
            mixing.keep_apart("close")
        if others_open(listening, plan):
            for side, row in enumerate(spill_responses(listening, plan, index, grid)):
                mixing.add("close", index, row, np.eye(2, dtype=np.float32)[side])
        direct = _direct_sound(listening, source, groups, gains, grid)
        if "head" in balance:
            at_head = _direct_at_head(listening, source, grid)
            direct = np.sum(_same_length([direct, level * at_head]), axis=0)
        directs.append(direct)
    return np.stack(_same_length(directs))


def _microphone_groups(
    listening: Listening, source: Source, balance: dict[str, float]
) -> tuple[list[tuple[tuple[Microphone, ...], float]], list[NDArray[np.float32]], list[str]]:
    """Groups of microphones with their delay; each microphone's gains left and right, and name."""
    hall = tuple(m for m in listening.microphones if m.perspective in balance)
    groups = [(hall, 0.0)] if hall else []
    gains = [
        np.array(m.gains, dtype=np.float32) * np.float32(10.0 ** (balance[m.perspective] / 20.0))
        for m in hall
    ]
    names = [m.perspective for m in hall]
    if "close" in balance:
        spot = close_spot(listening, source)
        groups.append(((spot.microphone,), spot.delay))
        level = spot.gain * 10.0 ** (balance["close"] / 20.0)
        gains.append(np.array(spot.microphone.gains, dtype=np.float32) * np.float32(level))
        names.append("close")
    return groups, gains, names


def _at_head(listening: Listening, plan: SeatPlan, index: int, grid: Grid) -> NDArray[np.float32]:
    room, ears = listening.room, listening.ears
    generators = [generator_for(room, plan.name, index, ear) for ear in ("ear.left", "ear.right")]
    return head_responses(room, plan.sources[index], ears, grid, generators, listening.head)


def _direct_at_head(listening: Listening, source: Source, grid: Grid) -> NDArray[np.float32]:
    room, ears = listening.room, listening.ears
    direct, _ = early_at_head(room, source, ears, grid, max_order=0, head=listening.head)
    return direct


def _direct_sound(
    listening: Listening,
    source: Source,
    groups: list[tuple[tuple[Microphone, ...], float]],
    gains: list[NDArray[np.float32]],
    grid: Grid,
) -> NDArray[np.float32]:
    """Direct sound into left and right, shape (2, frames of its own)."""
    rows = [m for group, _ in groups for m in group]
    if not rows:
        return np.zeros((2, 1), dtype=np.float32)
    delays = np.array([delay for group, delay in groups for _ in group])
    arrivals = microphone_arrivals(listening.room, source, rows, max_order=0)
    early = early_responses(listening.room, arrivals, grid, delays)
    return np.asarray(np.einsum("mc,mf->cf", np.stack(gains), early))


def _same_length(signals: list[NDArray[np.float32]]) -> list[NDArray[np.float32]]:
    longest = max(signal.shape[1] for signal in signals)
    return [np.pad(signal, ((0, 0), (0, longest - signal.shape[1]))) for signal in signals]


def _blend(
    listening: Listening, plan: SeatPlan, grid: Grid, mixing: _Mixing, kept: KeptTails | None
) -> NDArray[np.float32]:
    """Turn the stem's own image to the bearing, as far off as the tree hears it, and add tail.

    The image is turned by the balance of its channels, which keeps its width; the air takes its
    share of the highs; the tail is the tree's, as strong against the direct sound
    as a placed stem's would be where `tail_db` is 0. Gives the direct sound.
    """
    room, source = listening.room, middle_source(plan)
    arrival, strength = tree_hearing(listening, source)
    turned = _turning(pan_angle(listening, source), len(plan.sources))
    direct = turned[:, :, None] * _air_filtered(listening, source, arrival, grid)
    wet = np.float32(10.0 ** (plan.tail_db / 20.0) / strength)
    tree = listening.of("tree")
    for index in range(len(plan.sources)):
        generators = [generator_for(room, plan.name, index, m.name) for m in tree]
        tails = tail_responses(room, grid, [(tree, 0.0)], generators, kept=kept)
        tails[:, : max(0, round((arrival - grid.origin) * grid.rate))] = 0.0
        for row, microphone in zip(tails, tree, strict=True):
            mixing.add("blended", index, row, wet * np.array(microphone.gains, dtype=np.float32))
        for channel, gain in enumerate(np.eye(2, dtype=np.float32)):
            mixing.add("blended", index, direct[index, channel], gain)
    return np.asarray(direct, dtype=np.float32)


def _turning(angle: float, channels: int) -> NDArray[np.float32]:
    """What each channel of the stem sends left and right, shape (channels, 2).

    Two channels are weighed, the squares of the gains adding up to 2: what both hold moves as a
    mono stem would, their correlation and (for equally strong channels) their power stay. A
    rotation would send what already lies at the edge out of phase into the other loudspeaker.
    """
    gains = np.array(pan_gains(level_for_angle(angle)), dtype=np.float32)
    return gains[None, :] if channels == 1 else np.diag(np.float32(2.0**0.5) * gains)


def _air_filtered(
    listening: Listening, source: Source, arrival: float, grid: Grid
) -> NDArray[np.float32]:
    """A click at an arrival time with the air's loss over its way, shape (frames,)."""
    room = listening.room
    distance = arrival * room.speed
    gains = np.exp(-0.5 * distance * np.array(room.air))[None, :]
    click = Arrivals(np.array([distance]), np.zeros((1, 3)), gains, np.zeros(1, dtype=np.int64))
    return np.asarray(early_responses(room, [click], grid, np.zeros(1))[0])
