"""Mistakes in words: the nearest name where a key holds one of a few."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from seatwright.disk.scene_words import refusals
from seatwright.stage.scene import Scene


@pytest.mark.parametrize(
    ("table", "value", "hint"),
    [
        ("tree", {"array": "ORFT"}, "nearest: ortf"),
        ("tree", {"array": "Blumlein"}, "nearest: blumlein"),
        ("ambient", {"pattern": "cardoid"}, "nearest: cardioid, subcardioid, hypercardioid"),
        ("tree", {"array": "zzz"}, ""),
        ("tree", {"array": 3}, ""),
    ],
)
def test_names_of_a_few_are_met_with_the_nearest(
    table: str, value: dict[str, Any], hint: str
) -> None:
    scene = {"seats": {"a": {"stem": "a", "x": 0, "y": 4}}, "microphones": {table: value}}
    with pytest.raises(ValidationError) as caught:
        Scene.model_validate(scene)
    (refusal,) = refusals(caught.value, scene)
    assert refusal.fault.hint == hint
    assert "wanted one of" in refusal.fault.what


@pytest.mark.parametrize(
    ("key", "hint"),
    [
        ("level", "it belongs in [sections.NAME] or [seats.NAME]"),
        ("gain", "it belongs in [sections.NAME] or [seats.NAME]"),
        ("treatment", "it belongs in [sections.NAME] or [seats.NAME]"),
        ("players", "it belongs in [seats.NAME]"),
        ("reverberation", "it belongs in [hall]"),
        ("titel", "nearest: title"),
    ],
)
def test_a_key_at_the_top_is_sent_where_it_belongs(key: str, hint: str) -> None:
    scene = {"seats": {"a": {"stem": "a", "x": 0, "y": 4}}, key: 1}
    with pytest.raises(ValidationError) as caught:
        Scene.model_validate(scene)
    (refusal,) = refusals(caught.value, scene)
    assert refusal.fault.hint == hint
    assert refusal.fault.what == f'found unknown key "{key}", wanted a key this table has'
