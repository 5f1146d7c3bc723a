"""The desk: the rehearsal that is going on, opened anew on request, and what the page is told."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from threading import Lock, Thread
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.scene_edits import ChangedMeanwhile
from seatwright.errors import Fault, SeatwrightError, printable
from seatwright.loop_sound import peak_db
from seatwright.loop_stretch import STRETCH_SECONDS, Beginning, Playing
from seatwright.rehearsal import Rehearsal
from seatwright.serving.orders import Balance, Choose, Move, Plain, SaveAs
from seatwright.sound.loops import Loop, level_noise, stretch_of
from seatwright.stage.description import dotted_key
from seatwright.stage.request import Request
from seatwright.stage.steps import Step
from seatwright.views.rehearsal_facts import all_figures, figure_facts, scene_facts

PATIENCE = 15.0
"""Seconds a request for news or sound waits before it is answered with what there is."""

_NOISE_SECONDS = 4.0


@dataclass(frozen=True, eq=False)
class Answer:
    """Sound on its way to the page.

    Parameters
    ----------
    headers : dict of str to str
        What to know of it at once.
    samples : int
        Of all parts together.
    parts : iterator of ndarray of float32
        Each to be sent before the next is asked for.
    """

    headers: dict[str, str]
    samples: int
    parts: Iterator[NDArray[np.float32]]


class Desk:
    """One page's rehearsal.

    Parameters
    ----------
    path : Path
        Scene file.
    request : Request

    Raises
    ------
    SeatwrightError
        With every fault of the scene and its stems.
    """

    def __init__(self, path: Path, request: Request):
        self._path, self._request = path, request
        self._lock = Lock()
        self.rehearsal = Rehearsal(path, request)
        self.session = 1
        self.trouble = ""
        self._prepare(self.rehearsal)

    def close(self) -> None:
        """End all threads."""
        self.rehearsal.close()

    def _prepare(self, rehearsal: Rehearsal) -> None:
        """Look for the loop and begin to render, while the page is open already."""

        def run() -> None:
            try:
                rehearsal.prepare()
            except (SeatwrightError, OSError, MemoryError) as error:
                self.trouble = f"the loop cannot be read: {error}"
                rehearsal.loop.tell()

        Thread(target=run, name="prepare", daemon=True).start()

    def carry_out(self, order: Move | Balance | Choose | Plain | SaveAs) -> dict[str, Any]:
        """Do what was ordered.

        Returns
        -------
        dict
            What the page is told.

        Raises
        ------
        SeatwrightError
            Nothing was changed then.
        """
        here = self.rehearsal
        if isinstance(order, Move) and order.do == "try":
            return {"figures": figure_facts(here.tried(order.seat, order.place, order.facing))}
        if isinstance(order, Move):
            here.move(order.seat, order.place, order.facing, order.joined)
        elif isinstance(order, Balance):
            here.balance(order.section, order.levels, order.joined)
        elif isinstance(order, Choose):
            here.choose(order.seating)
        elif isinstance(order, SaveAs):
            self._save_as(order)
        elif order.do in ("undo", "redo"):
            step = here.undo() if order.do == "undo" else here.redo()
            return self.news() | {"went": went_facts(step)}
        else:
            {"save": here.save, "reload": self.reload}[order.do]()
        return self.news()

    def _save_as(self, order: SaveAs) -> None:
        if not order.beside:
            self.rehearsal.save_as(order.name)
            return
        self.rehearsal.save_beside(order.name)
        self.reload(order.name)

    def reload(self, seating: str | None = None) -> None:
        """Begin anew from the file as it is; the old rehearsal goes on where that has faults."""
        with self._lock:
            old = self.rehearsal
            seating = seating if seating is not None else old.seating
            request = replace(self._request, seating=seating)
            first = old.first
            if first is not None:  # the same music again, so that the ear can compare
                rate = old.cast.rate
                request = replace(
                    request, start=first / rate, stop=(first + old.loop.frames) / rate
                )
            new = self._opened(request)
            self.session += 1
            self.trouble = ""
            self.rehearsal = new
            self._prepare(new)
        old.close()

    def _opened(self, request: Request) -> Rehearsal:
        """A new rehearsal; as first asked for, where the file has no such seating or music now."""
        try:
            return Rehearsal(self._path, request)
        except SeatwrightError:
            return Rehearsal(self._path, replace(self._request, seating=None))

    def news_after(self, number: int, session: int) -> dict[str, Any]:
        """News once there are any after a number, or after a while."""
        loop = self.rehearsal.loop
        with loop.changed:
            loop.changed.wait_for(lambda: loop.news > number or self.session != session, PATIENCE)
        return self.news()

    def news(self) -> dict[str, Any]:
        """All that the page shows."""
        here = self.rehearsal
        loop = here.loop
        scene = here.scene
        done, wanted = loop.progress
        stage, share = here.stage
        return {
            "news": loop.news,
            "session": self.session,
            "file": self._path.name,
            "seatings": list(here.written.seatings),
            "seating": here.seating,
            "unsaved": here.unsaved,
            "undo": here.steps.undoable,
            "redo": here.steps.redoable,
            "stage": stage,
            "share": share,
            "done": done,
            "wanted": wanted,
            "failed": dict(loop.failed),
            "trouble": self.trouble,
            "rate": here.cast.rate,
            "frames": loop.frames,
            "from": (here.first or 0) / here.cast.rate,
            "version": loop.version,
            "scene": scene_facts(scene),
            "figures": all_figures(loop.figures),
        }

    def sound_after(
        self, version: int, session: int, playing: Playing | None = None
    ) -> Answer | None:
        """The loop as it is heard, once newer than a version; None where there is none for long.

        Parameters
        ----------
        version, session : int
            What the page has.
        playing : Playing, optional
            Where the music is; None where the page is silent.

        Returns
        -------
        Answer
            Where it plays first the stretch that the music is in, so that this is heard before
            the rest has arrived, or even been rendered; then the whole loop; then two numbers,
            the version and the whole loop's peak in dB.
        """
        if session != self.session:
            return None
        loop = self.rehearsal.loop
        found = (
            loop.begun_after(version, PATIENCE, playing)
            if playing
            else loop.sound_after(version, PATIENCE)
        )
        if found is None:
            return None
        if isinstance(found, Beginning):
            later = partial(loop.rest_of, found, PATIENCE)
            return _answer(found.after + 1, found.first, found.stretch, loop.frames, later)
        first, length = 0, 0
        if playing:
            rate = self.rehearsal.cast.rate
            first, length = playing.sample(rate, loop.frames), round(STRETCH_SECONDS * rate)
        stretch = stretch_of(found[1], first, length)
        return _answer(found[0], first, stretch, loop.frames, lambda: found)

    def level_check(self) -> Answer | None:
        """Noise as loud as the music, for setting the level; None before there is any sound."""
        found = self.rehearsal.loop.sound_after(0, 0.0)
        if found is None:
            return None
        rms = float((found[1] ** 2).mean() ** 0.5)
        rate = self.rehearsal.cast.rate
        noise = level_noise(round(_NOISE_SECONDS * rate), rate, rms)
        return Answer({}, noise.size, iter([noise]))


def _answer(
    version: int,
    first: int,
    stretch: Loop,
    frames: int,
    whole: Callable[[], tuple[int, Loop] | None],
) -> Answer:
    """A stretch at once, and the whole with its version and peak as soon as it is there."""

    def parts() -> Iterator[NDArray[np.float32]]:
        yield stretch
        found = whole()
        if found is None:
            raise ConnectionError("the rest of a sound did not come")  # the page asks again
        yield found[1]
        yield np.array([found[0], max(peak_db(found[1]), -200.0)], dtype=np.float32)

    headers = {
        "X-Version": str(version),
        "X-First": str(first),
        "X-Stretch": str(stretch.shape[1]),
    }
    return Answer(headers, stretch.size + 2 * frames + 2, parts())


def went_facts(step: Step | None) -> Mapping[str, str] | None:
    """What undo or redo did, and the seat it was about; None where there was nothing to do."""
    if step is None:
        return None
    kind, _, name = step.subject.partition(" ")
    return {"what": printable(step.what), "seat": name if kind == "seat" else ""}


def refusal_facts(error: SeatwrightError, here: Rehearsal) -> Mapping[str, Any]:
    """What the page is told of an order that was not carried out."""
    others = [name for name in here.written.seatings if name != here.seating]
    return {
        "faults": [_said(fault, others) for fault in error.faults],
        "changed": isinstance(error, ChangedMeanwhile),
    }


def _said(fault: Fault, others: list[str]) -> str:
    """A fault in words; which seat it is about is seen on the page, another seating is not."""
    if not fault.key.startswith(("seats.", "seatings.")) or fault.file:
        return str(fault)
    words = str(replace(fault, key=""))
    for name in others:
        if fault.key.startswith(f"{dotted_key('seatings', name)}."):
            return f"also in seating {printable(name)}: {words}"
    return words
