"""Trees that teams write down on the ground, with the ids that their phones made."""

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from layers.ground import cell
from service.edit import name_cells
from service.field_ground import place_of
from service.field_records import Entry, FieldAnswer, TreeSent, canonical
from service.store import schema
from service.store.field_rows import box_of_trees, first_place
from service.store.former import first_contents
from service.store.rows import by_ids, insert_records, known_elsewhere
from service.waiting_words import ELSEWHERE, FAR_OFF, KNOWN_TREE

BY_PHONE = "written down by phone"  # among what is kept as written: which team
BEYOND_M = 500.0  # from all other trees a place that a phone says is a slip: assumption
_M_PER_DEGREE = 111_320.0
_PLACE = ("lon_deg", "lat_deg", "x_m", "y_m", "cell", "position_source", "position_accuracy_m")
_COMPARED = ("tag", "name_as_written", "kept")


@dataclass(frozen=True)
class Told:
    """A tree as a team wrote it down."""

    entry: Entry
    said: TreeSent


def is_by_phone(kept: str | None) -> bool:
    """Whether a tree was written down on a phone, by what is kept of it as written."""
    return kept is not None and BY_PHONE in json.loads(kept)


class TreeDesk:
    """Takes in trees within a transaction that holds the site."""

    def __init__(self, connection: Any, site: Any, change: Callable[[str], int]) -> None:
        self.connection, self.site, self.change = connection, site, change
        self.new: dict[str, TreeSent] = {}

    def take(self, told: Sequence[Told]) -> dict[str, FieldAnswer]:
        """Write down trees that are new; return by the id of what was sent what became of it, with why."""
        if not told:
            return {}
        tree_ids = [one.said.tree_id for one in told]
        stem_ids = [stem.id for one in told for stem in one.said.stems]
        known = by_ids(self.connection, schema.tree, self.site.fid, tree_ids)
        first = first_contents(self.connection, schema.tree, list(known.values()))
        strange = known_elsewhere(self.connection, schema.tree, self.site.fid, tree_ids)
        strange |= known_elsewhere(self.connection, schema.stem, self.site.fid, stem_ids)
        stems = by_ids(self.connection, schema.stem, self.site.fid, stem_ids)
        owner = {id: row.tree_id for id, row in stems.items()}
        place = first_place(self.connection, self.site.fid)
        box = box_of_trees(self.connection, self.site.fid, self.site.frame, BY_PHONE)
        out: dict[str, FieldAnswer] = {}
        rows, trunks = [], []
        for one in told:
            cells = tree_cells(one, self.site.frame, place)
            id = one.said.tree_id
            if id in first:
                alike = all(first[id][name] == cells[name] for name in _COMPARED)
                out[one.entry.id] = (
                    FieldAnswer(one.entry.id, "already there")
                    if alike
                    else FieldAnswer(one.entry.id, "set aside", KNOWN_TREE)
                )
            elif strange & {id, *(stem.id for stem in one.said.stems)} or any(
                stem.id in owner for stem in one.said.stems
            ):
                out[one.entry.id] = FieldAnswer(one.entry.id, "refused", ELSEWHERE)
            else:
                is_far = box is not None and _is_far(cells, self.site.frame, box)
                cells |= dict.fromkeys(_PLACE) if is_far else {}
                first[id] = cells
                owner |= {stem.id: id for stem in one.said.stems}
                self.new[id] = one.said
                rows.append(cells)
                trunks += [{"id": s.id, "tree_id": id, "number": s.number} for s in one.said.stems]
                outcome = ("questioned", FAR_OFF) if is_far else ("taken",)
                out[one.entry.id] = FieldAnswer(one.entry.id, *outcome)
        if rows:
            shared = {"site_id": self.site.fid, "change_id": self.change("tree"), "version": 1, "void": 0}
            insert_records(self.connection, schema.tree, [{**row, **shared} for row in rows])
            living = {"status": "living", **shared}
            insert_records(self.connection, schema.stem, [{**trunk, **living} for trunk in trunks])
        return out


def tree_cells(told: Told, frame: str, first: tuple[float, float] | None) -> dict[str, Any]:
    """Return the cells of a tree that a team wrote down; how its place was found is kept as written."""
    said = told.said
    spot = _spot(said, frame, first)
    lon, lat = spot.get("lon_deg"), spot.get("lat_deg")
    return {
        "id": said.tree_id,
        "tag": said.tag or None,
        "place_id": None,
        "name_as_written": said.name_as_written or None,
        **name_cells(said.name_as_written),
        "status": "living",
        "lon_deg": lon,
        "lat_deg": lat,
        "x_m": spot.get("x_m"),
        "y_m": spot.get("y_m"),
        "cell": int(cell(lon, lat)[0]) if lon is not None and lat is not None else None,
        "position_source": said.position_source if spot else None,
        "position_accuracy_m": said.position_accuracy_m if spot else None,
        "kept": json.dumps(_kept(told), ensure_ascii=False, sort_keys=True),
    }


def _is_far(cells: Mapping[str, Any], frame: str, box: tuple[float, float, float, float]) -> bool:
    """Whether a place lies farther from where trees stand than they reach, and than any phone is off."""
    east, north = ("x_m", "y_m") if frame == "local" else ("lon_deg", "lat_deg")
    x, y = cells[east], cells[north]
    if x is None or y is None:
        return False
    west, south, east_most, north_most = box
    per_y = 1.0 if frame == "local" else _M_PER_DEGREE
    per_x = 1.0 if frame == "local" else _M_PER_DEGREE * max(math.cos(math.radians(south)), 0.01)
    away = math.hypot(max(west - x, x - east_most, 0.0) * per_x, max(south - y, y - north_most, 0.0) * per_y)
    reach = math.hypot((east_most - west) * per_x, (north_most - south) * per_y)
    return away > max(BEYOND_M, reach)


def _spot(said: TreeSent, frame: str, first: tuple[float, float] | None) -> Mapping[str, float]:
    if said.x is not None and said.y is not None:
        found = place_of(frame, first, said.x, said.y)
        if found:
            return found
    if frame == "earth" and said.lon_deg is not None and said.lat_deg is not None:
        return {"lon_deg": said.lon_deg, "lat_deg": said.lat_deg}
    return {}


def _kept(told: Told) -> dict[str, str]:
    """What a team said that has no column of its own, and what the place was worked out from."""
    said = told.said
    place = {name: getattr(said, name) for name in ("x", "y", "lon_deg", "lat_deg")}
    raw = {**{name: value for name, value in place.items() if value is not None}, **(said.how or {})}
    kept = {BY_PHONE: told.entry.team.code or "", "how the place was found": canonical(raw) if raw else ""}
    kept["note"] = said.note or ""
    kept["how sure the name is"] = {True: "sure", False: "doubtful", None: ""}.get(
        said.name_sure,  # type: ignore[arg-type]
        str(said.name_sure),
    )
    return {name: value for name, value in kept.items() if value or name == BY_PHONE}
