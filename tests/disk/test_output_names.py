"""Names of the folders of renders; those of files are tested with the bounces."""

from __future__ import annotations

import pytest

from seatwright.disk.output_names import folder_name


@pytest.mark.parametrize(
    ("parts", "name"),
    [
        (("", ""), "first"),
        (("far", ""), "first far"),
        (("", "strings 0-1.5 s"), "first strings 0-1.5 s"),
        (("far", "oboe"), "first far oboe"),
        (("../../x", "a/b"), "first ___.._x a_b"),
        (("..", ""), "first __"),
    ],
)
def test_what_is_special_stands_in_the_name_and_leads_nowhere(
    parts: tuple[str, ...], name: str
) -> None:
    assert folder_name("first", *parts) == name
