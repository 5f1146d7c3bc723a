"""Steps: the states a scene went through by hand, for undo and redo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from seatwright.stage.scene import Scene

MOST_STEPS = 500


@dataclass(frozen=True)
class Step:
    """One state of the scene.

    Parameters
    ----------
    scene : Scene
        As written, not seated.
    seating : str or None
        In which the change was made.
    what : str
        The change that led here, for undo.
    subject : str
        What was changed: further changes of the same may join this one.
    """

    scene: Scene
    seating: str | None
    what: str = ""
    subject: str = ""


class Steps:
    """A list of states with the one that holds.

    Parameters
    ----------
    first : Step
        As read.
    """

    def __init__(self, first: Step):
        self._steps = [first]
        self._at = 0

    @property
    def here(self) -> Step:
        """The one that holds."""
        return self._steps[self._at]

    @property
    def undoable(self) -> str:
        """What undo takes back; "" where there is nothing."""
        return self.here.what if self._at else ""

    @property
    def redoable(self) -> str:
        """What redo does again; "" where there is nothing."""
        later = self._at + 1
        return self._steps[later].what if later < len(self._steps) else ""

    def add(self, step: Step, joined: bool = False) -> None:
        """Go on to a new state; what was taken back is forgotten.

        Parameters
        ----------
        step : Step
        joined : bool
            In the place of the state before, where that changed the same subject.
        """
        same = joined and self._at > 0 and self.here.subject == step.subject != ""
        kept = self._steps[: self._at if same else self._at + 1]
        self._steps = [*kept[-MOST_STEPS:], step]
        self._at = len(self._steps) - 1

    def back(self) -> Step | None:
        """Take the last change back; gives what it was, None where there is none."""
        if not self._at:
            return None
        self._at -= 1
        return self._steps[self._at + 1]

    def forth(self) -> Step | None:
        """Do a change again that was taken back; else as `back`."""
        if self._at + 1 == len(self._steps):
            return None
        self._at += 1
        return self.here

    def all_changed(self, change: Callable[[Scene], Scene]) -> None:
        """Carry something out in every state, such as what undo must not take back."""
        self._steps = [
            Step(change(step.scene), step.seating, step.what, step.subject) for step in self._steps
        ]
