"""A site in the metres of a plan: where trees stand, what is not crossed, what pupils keep away from."""

from collections.abc import Mapping
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import shapely

from layers.error_model import Array
from layers.ground import LocalFrame, centre, plane_positions
from layers.line_distance import line_distance_m
from layers.measuring_time import (
    METRES_PER_MINUTE,
    MINUTES_AT_A_TRUNK,
    Pace,
    learned_pace,
    minutes_at,
)
from layers.round_choice import LINE, ROAD, WATER, LeftOut, Near, kept_off
from layers.round_plan import sizes_of
from service.view import SiteView

_WAY_MINUTES = 0.5  # from a tree to the next, about 20 m: assumption
_CROSSED_NOT = ("road", "water")
_AWAY_FROM = {"road": ROAD, "water": WATER, "overhead line": LINE}


class RoundGround:
    """The ground of a site in metres.

    Parameters
    ----------
    view : SiteView
        The site at a day.
    """

    def __init__(self, view: SiteView) -> None:
        self.view = view
        middle = centre(view.records.trees, view.areas, view.terms)
        self.frame = None if view.terms.frame == "local" or middle is None else LocalFrame(*middle)

    def plane(self, shape: Any) -> Any:
        """Return a shape in metres."""
        return shape if self.frame is None or shape is None else self.frame.plane(shape)

    def earth(self, shape: Any) -> Any:
        """Return a shape of metres in the coordinates of the site."""
        return shape if self.frame is None or shape is None else self.frame.earth(shape)

    def at(self, trees: pd.DataFrame) -> Array:
        """Return where trees stand [m], NaN where they have no place."""
        return plane_positions(trees, self.frame, self.view.terms)

    def point(self, meeting: Mapping[str, Any]) -> tuple[float, float] | None:
        """Return a meeting point [m]; None where it is known in words only, or in the other frame."""
        names = ("x_m", "y_m") if self.view.terms.frame == "local" else ("lon_deg", "lat_deg")
        x, y = (meeting.get(name) for name in names)
        if x is None or y is None or (self.frame is None and self.view.terms.frame != "local"):
            return None
        spot = self.plane(shapely.Point(x, y))
        return float(spot.x), float(spot.y)

    def _things(self) -> list[tuple[str, Any, bool, float | None]]:
        """Hazards, and roads among what is underneath: kind, shape [m], whether it is crossed, voltage."""
        hazards = self.view.hazards.to_dict("records") if len(self.view.hazards) else []
        found = [(h["kind"], h["geometry"], bool(h["barrier"]), h["voltage_kv"]) for h in hazards]
        targets = self.view.records.targets.to_dict("records")
        found += [("road", t["geometry"], True, None) for t in targets if t["kind"] == "road"]
        return [(kind, self.plane(shape), bar, kv) for kind, shape, bar, kv in found if shape is not None]

    def barriers(self) -> Any:
        """Return what no team crosses [m]: roads, water and hazards marked so; None where there is none."""
        shapes = [
            shape for kind, shape, is_barrier, _kv in self._things() if is_barrier or kind in _CROSSED_NOT
        ]
        return shapely.union_all(shapes) if shapes else None

    def near(self, keep_off_m: float) -> list[Near]:
        """Return what pupils keep away from, at least so many metres [m]."""
        return [
            Near(
                _AWAY_FROM[kind], shape, max(keep_off_m, _from_a_line(kv) if kind == "overhead line" else 0.0)
            )
            for kind, shape, _bar, kv in self._things()
            if kind in _AWAY_FROM
        ]

    def reasons(self, trees: pd.DataFrame, keep_off_m: float) -> list[LeftOut]:
        """Return why trees are kept off lists."""
        names = self.view.closures["name"].to_list() if len(self.view.closures) else []
        closed = {tree: [names[row] for row in rows] for tree, rows in self.view.closed_trees.items()}
        return kept_off(
            trees,
            self.at(trees),
            closed=closed,
            near=self.near(keep_off_m),
            in_danger=self.view.trees_in_danger,
            unseen_girth_cm=self.view.terms.unseen_girth_cm,
        )

    @cached_property
    def pace(self) -> Pace:
        """How much slower than assumed this site measures."""
        readings = self.view.records.readings.merge(
            self.view.records.stems[["stem_id", "tree_id"]], on="stem_id", how="inner"
        )
        usual = {word: float(minutes_at(100.0, 1, word)) + _WAY_MINUTES for word in MINUTES_AT_A_TRUNK}
        return learned_pace(readings, usual)

    @property
    def metres_per_minute(self) -> float:
        """How fast teams walk on this site [m/min]."""
        return METRES_PER_MINUTE / self.pace.factor

    def minutes(self, trees: pd.DataFrame, instrument: str) -> Array:
        """Return how long a team is busy at each tree [min]."""
        girth, trunks = sizes_of(trees)
        return np.asarray(minutes_at(girth, trunks, instrument) * self.pace.factor)

    def inside(self, zone: str | None) -> set[str] | None:
        """Return the trees of an area or place; None for the whole site."""
        if zone is None:
            return None
        members, records = self.view.membership, self.view.records.trees
        drawn = members.loc[members["area_id"] == zone, "tree_id"]
        return {*drawn, *records.loc[records["place_id"] == zone, "tree_id"]}

    def outline(self) -> Any:
        """Return the edge of the whole ground [m], None where it is not drawn."""
        edges = self.view.areas.loc[self.view.areas["kind"] == "boundary", "geometry"].dropna()
        return self.plane(shapely.union_all(edges.to_list())) if len(edges) else None


def _from_a_line(voltage_kv: Any) -> float:
    known = voltage_kv is not None and voltage_kv == voltage_kv
    return line_distance_m(float(voltage_kv) if known else 0.0)
