"""Surfaces: the published table arrives unchanged, and own values stand where they should."""

from __future__ import annotations

import pyroomacoustics
import pytest
from pydantic import ValidationError

from seatwright.stage.surfaces import (
    SurfaceTable,
    material_table,
    surface_absorption,
    surface_scattering,
    unknown_surface,
)


@pytest.mark.parametrize("name", ["hard_surface", "wooden_lining", "audience_orchestra_choir"])
def test_named_surface_has_the_published_values(name: str) -> None:
    published = pyroomacoustics.Material(name).energy_absorption["coeffs"]
    absorption = surface_absorption(name)
    assert absorption[1 : 1 + len(published)] == tuple(published)
    assert absorption[0] == published[0]
    assert set(absorption[1 + len(published) :]) <= {published[-1]}


def test_every_named_surface_absorbs_something_and_never_all() -> None:
    table = material_table()
    assert len(table) > 80
    for name, values in table.items():
        assert len(values) == 9, name
        assert all(0.0 < value < 1.0 for value in values), name


def test_stage_and_audience_is_one_third_stage_two_thirds_audience() -> None:
    stage = surface_absorption("stage_floor")
    audience = surface_absorption("audience_orchestra_choir")
    mixed = [(bare + 2 * seated) / 3 for bare, seated in zip(stage, audience, strict=True)]
    assert surface_absorption("stage_and_audience") == pytest.approx(mixed, abs=0.005)


def test_spelling_of_a_name_is_forgiving() -> None:
    assert surface_absorption(" Hard  surface ") == surface_absorption("hard_surface")
    assert unknown_surface("Hard Surface") == ""


def test_unknown_name_gets_the_nearest() -> None:
    assert "hard_surface" in unknown_surface("hard_surfce")
    assert "lists all names" in unknown_surface("zzzzzzzz")


def test_own_values_are_extended() -> None:
    table = SurfaceTable(absorption=[0.1, 0.2, 0.3, 0.4, 0.5, 0.6], scattering=0.25)
    assert surface_absorption(table) == (0.1, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.6, 0.6)
    assert surface_scattering(table, 0.9) == (0.25,) * 9
    assert surface_scattering(SurfaceTable(absorption=0.5), 0.15) == (0.15,) * 9
    assert surface_scattering("hard_surface", 0.15) == (0.15,) * 9


@pytest.mark.parametrize(
    "values",
    [
        {"absorption": 0.0},
        {"absorption": 1.0},
        {"absorption": -0.1},
        {"absorption": [0.1, 0.2]},
        {"absorption": [0.1] * 5 + [1.2]},
        {"absorption": float("nan")},
        {"absorption": 0.5, "scattering": 1.01},
        {"absorption": 0.5, "scattering": [0.1] * 3},
        {"absorption": 0.5, "colour": 1},
        {},
    ],
)
def test_values_no_surface_can_have_are_refused(values: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        SurfaceTable.model_validate(values)
