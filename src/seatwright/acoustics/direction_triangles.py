"""Directions scattered over a sphere: between which three of them another one lies.

Conventions: the head's frame, as in AES69: x ahead, y to the left, z up.

Source
------
H. Gamper, "Head-related transfer function interpolation in azimuth, elevation, and distance",
JASA 134 (2013) EL547-EL553: barycentric weights over the convex hull of the directions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

WIDEST_GAP = 75.0
"""Degrees around a direction without any measured one, beyond which a set has a hole."""

_POLE = np.cos(np.radians(20.0))
_RING = np.sin(np.radians(1.0))
_NEAREST = 10
_OUTSIDE = -1e-9


@dataclass(frozen=True, eq=False)
class Triangles:
    """The convex hull of a set of directions.

    Parameters
    ----------
    corners : ndarray of int, shape (triangles, 3)
        Indices of directions.
    inverses : ndarray, shape (triangles, 3, 3)
        A direction times these gives its coordinates along the three corners.
    centres : ndarray, shape (triangles, 3)
        Unit vectors.
    """

    corners: NDArray[np.int64]
    inverses: NDArray[np.float64]
    centres: NDArray[np.float64]

    def weights(
        self, directions: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Between which three directions others lie, and how near to each.

        Parameters
        ----------
        directions : ndarray, shape (n, 3)
            Unit vectors.

        Returns
        -------
        corners : ndarray of int, shape (n, 3)
        weights : ndarray, shape (n, 3)
            At least 0; they add up to 1.
        """
        from scipy.spatial import cKDTree

        count = min(_NEAREST, len(self.centres))
        _, near = cKDTree(self.centres).query(directions, k=count)
        near = np.asarray(near).reshape(len(directions), count)
        along = np.einsum("ntij,nj->nti", self.inverses[near], directions)
        best = np.argmax(along.min(axis=2), axis=1)
        rows = np.arange(len(directions))
        chosen, along = near[rows, best], along[rows, best]
        for row in np.flatnonzero(along.min(axis=1) < _OUTSIDE):  # a wide triangle, centre far off
            each = self.inverses @ directions[row]
            chosen[row] = np.argmax(each.min(axis=1))
            along[row] = each[chosen[row]]
        along = np.maximum(along, 0.0)
        return self.corners[chosen], along / along.sum(axis=1, keepdims=True)


def triangles(directions: NDArray[np.float64]) -> Triangles:
    """The hull of directions of shape (n, 3); ValueError where they leave a hole.

    Raises
    ------
    ValueError
        Saying how many degrees the widest hole reaches, and how far it may.
    """
    from scipy.spatial import ConvexHull, QhullError

    wanted = f"wanted a measured direction within {WIDEST_GAP:.0f} degrees of any other"
    try:
        hull = ConvexHull(directions)
    except (QhullError, ValueError):
        raise ValueError(f"found directions that lie in one plane, {wanted}") from None
    gap = np.degrees(np.arccos(np.clip(-hull.equations[:, 3], -1.0, 1.0).min()))
    if gap > WIDEST_GAP:
        raise ValueError(f"found a hole of {gap:.0f} degrees between directions, {wanted}")
    corners = np.asarray(hull.simplices, dtype=np.int64)
    points = directions[corners]
    flat = np.abs(np.linalg.det(points)) > 1e-12
    corners, points = corners[flat], points[flat]
    centres = points.sum(axis=1)
    centres /= np.linalg.norm(centres, axis=1, keepdims=True)
    return Triangles(corners, np.linalg.inv(points.transpose(0, 2, 1)), centres)


def missing_poles(
    directions: NDArray[np.float64],
) -> list[tuple[NDArray[np.float64], NDArray[np.int64]]]:
    """Straight up or down where nothing was measured near it, and the ring of directions nearest.

    Parameters
    ----------
    directions : ndarray, shape (n, 3)

    Returns
    -------
    list of (ndarray, shape (3,), ndarray of int)
        What stands there can only be guessed: the mean of the ring.
    """
    missing = []
    for sign in (1.0, -1.0):
        height = sign * directions[:, 2]
        if height.max() < _POLE:
            ring = np.flatnonzero(height > height.max() - _RING)
            missing.append((np.array([0.0, 0.0, sign]), ring))
    return missing


def solid_angles(directions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of the sphere that is nearest to each direction, shape (n,); adds up to 1."""
    from scipy.spatial import SphericalVoronoi

    areas = np.asarray(SphericalVoronoi(directions, radius=1.0, threshold=1e-9).calculate_areas())
    return np.asarray(areas / areas.sum())


def unit_directions(
    azimuth: NDArray[np.float64], elevation: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Unit vectors, shape (n, 3), of degrees to the left of ahead and up from the horizon."""
    turn, rise = np.radians(azimuth), np.radians(elevation)
    ground = np.cos(rise)
    return np.stack([ground * np.cos(turn), ground * np.sin(turn), np.sin(rise)], axis=1)
