"""Ways on foot between points of a ground that cross nothing that is not to be crossed."""

from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import Delaunay, cKDTree

from layers.error_model import Array, Whole

ALL_PAIRS_UP_TO = 400  # points; beyond, ways lead along neighbours only
NEIGHBOURS = 12
OFF_M = 0.2  # how far beside a barrier somebody stands whose place is in it
_SIDES = 16


class Ways:
    """The shortest ways between points, past barriers.

    Two points are linked where the straight line between them meets no barrier; a way leads from link to
    link. Points are in one part of the ground when a way leads from one to the other. A point inside a
    barrier is reached from the nearest edge of it.

    Parameters
    ----------
    at : array
        East and north of each point [m].
    barriers : geometry, optional
        What nobody crosses [m]: lines and polygons.
    """

    def __init__(self, at: Array, barriers: Any = None) -> None:
        self.is_free = barriers is None or barriers.is_empty or not len(at)
        self.at = at if self.is_free else _beside(at, barriers)
        self._before: Whole | None = None
        if self.is_free:
            self.part: Whole = np.zeros(len(at), dtype=np.int64)
            self.metres: Array = np.hypot(*(self.at[:, None, :] - self.at[None, :, :]).T).T
            return
        pairs = _pairs(self.at)
        lines = shapely.linestrings(np.stack([self.at[pairs[:, 0]], self.at[pairs[:, 1]]], axis=1))
        shapely.prepare(barriers)
        pairs = pairs[~shapely.intersects(barriers, lines)]
        long = np.hypot(*(self.at[pairs[:, 0]] - self.at[pairs[:, 1]]).T) + 1e-6
        size = len(at)
        graph = coo_matrix((long, (pairs[:, 0], pairs[:, 1])), shape=(size, size)).tocsr()
        self.part = connected_components(graph, directed=False)[1].astype(np.int64)
        self.metres, before = dijkstra(graph, directed=False, return_predecessors=True)
        self._before = before.astype(np.int64)

    def way(self, first: int, last: int) -> list[int]:
        """Return the points that the way from one to another leads past, both ends included.

        Empty where no way leads there.
        """
        if self.part[first] != self.part[last]:
            return []
        if self._before is None or first == last:
            return [first, last] if first != last else [first]
        back = [last]
        while back[-1] != first:
            back.append(int(self._before[first, back[-1]]))
        return back[::-1]

    def line(self, stops: list[int]) -> list[tuple[float, float]]:
        """Return the corners of the way past several points in their order [m]."""
        passed = [stops[0]] if stops else []
        for one, next_one in pairwise(stops):
            passed += self.way(one, next_one)[1:]
        return [(float(x), float(y)) for x, y in self.at[passed]]


def _pairs(at: Array) -> Whole:
    """Pairs of points between which somebody may walk straight: all of few, the neighbours of many."""
    size = len(at)
    if size <= ALL_PAIRS_UP_TO:
        return np.stack(np.triu_indices(size, k=1), axis=1).astype(np.int64)
    near = cKDTree(at).query(at, k=NEIGHBOURS + 1)[1]
    ends = [np.column_stack([np.repeat(np.arange(size), NEIGHBOURS), near[:, 1:].ravel()])]
    corners = Delaunay(at, qhull_options="QJ").simplices
    ends += [corners[:, [a, b]] for a, b in ((0, 1), (1, 2), (0, 2))]
    pairs = np.sort(np.vstack(ends), axis=1)
    return np.unique(pairs[pairs[:, 0] != pairs[:, 1]], axis=0).astype(np.int64)


def _beside(at: Array, barriers: Any) -> Array:
    """The points, those in or at a barrier moved out of it."""
    points = shapely.points(at)
    out = at.copy()
    turns = np.linspace(0.0, 2.0 * np.pi, _SIDES, endpoint=False)
    round_it = OFF_M * np.column_stack([np.cos(turns), np.sin(turns)])
    for row in np.flatnonzero(shapely.distance(barriers, points) < OFF_M / 2.0):
        edge = barriers.boundary if "Polygon" in barriers.geom_type else barriers
        inside = [part for part in shapely.get_parts(barriers) if part.covers(points[row])]
        edge = inside[0].boundary if inside and "Polygon" in inside[0].geom_type else edge
        start = np.array(shapely.get_coordinates(shapely.shortest_line(edge, points[row]))[0])
        tried = start + round_it
        away = shapely.distance(barriers, shapely.points(tried))
        out[row] = tried[int(np.argmax(away >= away.max() - 1e-6))]
    return out
