"""Responses of the seats of a scene: found in the store, or computed and kept."""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.listening import Listening, SeatPlan, seat_plan
from seatwright.acoustics.seat_figures import SeatFigures, seat_figures
from seatwright.acoustics.seat_response import seat_response
from seatwright.disk.casting import Cast
from seatwright.disk.kept_file import DamagedFile, KeptReader
from seatwright.disk.store import Store
from seatwright.disk.store_keys import key_of
from seatwright.disk.typed_facts import typed
from seatwright.errors import naming
from seatwright.stage.description import dotted_key
from seatwright.stage.scene import Scene


@dataclass(frozen=True, eq=False)
class BuiltSeat:
    """What is convolved for a seat, and its figures.

    Parameters
    ----------
    parts : dict of str to ndarray, shape (sources, 2, frames)
        Under "mix" all perspectives together; the perspectives too where they were asked for.
    figures : SeatFigures
    """

    parts: dict[str, NDArray[np.float32]]
    figures: SeatFigures


@dataclass
class SeatResponses:
    """Responses and figures, seat by seat; several threads may ask.

    Parameters
    ----------
    scene : Scene
    listening : Listening
    grid : Grid
    cast : Cast
    apart : bool
        Also each perspective by itself.
    store : Store, optional
    """

    scene: Scene
    listening: Listening
    grid: Grid
    cast: Cast
    apart: bool = False
    store: Store | None = None
    _keys: dict[str, str] = field(default_factory=dict)
    _figures: dict[str, SeatFigures] = field(default_factory=dict)

    def placed(self, name: str) -> bool:
        """Whether a seat is heard in the hall, as all are but untouched ones."""
        return self.scene.treatment_of(self.scene.seats[name]) != "untouched"

    def key(self, name: str) -> str:
        """What the responses of a placed or blended seat follow from."""
        if name not in self._keys:
            room = self._keys.setdefault("", key_of("room", self.listening, self.grid))
            self._keys[name] = key_of("responses", room, self._plan(name), self.apart)
        return self._keys[name]

    def built(self, name: str) -> BuiltSeat:
        """Responses of a placed or blended seat."""
        return self.found(name) or self.keep(name, self.computed(name))

    def found(self, name: str) -> BuiltSeat | None:
        """Responses as an earlier command kept them; None where none did."""
        built = self._read(name)
        if built is not None:
            self._figures[name] = built.figures
        return built

    def keep(self, name: str, built: BuiltSeat) -> BuiltSeat:
        """Keep what was computed, here and in the store, and hand it on."""
        self._figures[name] = built.figures
        if self.store is not None:
            facts: dict[str, Any] = {"parts": list(built.parts), "figures": asdict(built.figures)}
            self.store.keep("responses", self.key(name), facts, list(built.parts.values()))
        return built

    def figures(self, names: Iterable[str], threads: int = 1) -> dict[str, SeatFigures]:
        """Figures of those seats that are heard in the hall."""
        placed = [name for name in names if self.placed(name)]
        with ThreadPoolExecutor(threads) as pool:
            return dict(zip(placed, pool.map(self._figures_of, placed), strict=True))

    def _figures_of(self, name: str) -> SeatFigures:
        if name not in self._figures and self.store:
            facts = self.store.facts("responses", self.key(name))
            with suppress(KeyError, ValueError):  # else they come with the responses
                return typed(SeatFigures, facts["figures"] if facts else None)
        return self._figures[name] if name in self._figures else self.built(name).figures

    def _read(self, name: str) -> BuiltSeat | None:
        reader = self.store.find("responses", self.key(name)) if self.store else None
        if self.store is None or reader is None:
            return None
        try:
            return _read(reader)
        except DamagedFile as damage:
            self.store.forget(damage)
            return None
        finally:
            reader.close()

    def _plan(self, name: str) -> SeatPlan:
        return seat_plan(self.scene, name, self.cast.channels(name))

    def computed(self, name: str) -> BuiltSeat:
        """Responses computed anew and not kept."""
        plan = self._plan(name)
        with naming("its responses cannot be built", key=dotted_key("seats", name)):
            response = seat_response(self.listening, plan, self.grid, self.apart)
            figures = seat_figures(self.listening, plan, response)
        return BuiltSeat({"mix": response.mix, **response.perspectives}, figures)


def _read(reader: KeptReader) -> BuiltSeat:
    try:
        figures = typed(SeatFigures, reader.facts["figures"])
        parts = {name: reader.read(place) for place, name in enumerate(reader.facts["parts"])}
    except (KeyError, TypeError, ValueError) as error:
        raise DamagedFile(reader.path, f"no responses: {type(error).__name__}") from error
    return BuiltSeat(parts, figures)
