"""Trees, areas, targets, rounds and crews made and changed by hand: versioned records (definitions R6).

A change sends the version it saw; on an older one both contents are shown and nothing is changed.
"""

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from layers.ground import cell
from layers.species import matched
from service.actors import Actor
from service.errors import Conflict, InvalidRequest, NotFound
from service.intake.bounded_shapes import from_geojson, validity_fault
from service.intake.identity import Namer
from service.records import AreaIn, CrewIn, RoundIn, Sent, TargetIn, TreeIn, parsed
from service.store import changes, schema
from service.store.engine import Store
from service.store.former import first_contents
from service.store.import_rows import place_names, void_places
from service.store.rows import by_ids, insert_records, known_elsewhere, revise
from service.store.site_rows import held_site
from service.view import today_in

TABLES = {
    "tree": schema.tree,
    "area": schema.area,
    "target": schema.target,
    "place": schema.place,
    "round": schema.round_,
    "crew": schema.crew,
    "closure": schema.closure,
    "hazard": schema.hazard,
}
_WORKED_OUT = ("scientific_name", "genus", "common_name", "name_sure", "cell")  # may differ by the program


def add_trees(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[str]:
    """Make trees (``TreeIn``) with their stems, as one change; return their ids.

    What was made before with the same content is left alone.

    Raises
    ------
    InvalidRequest
        With every fault.
    Conflict
        If an id is known with other content, or on another ground.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    trees = [_of(TreeIn, item) for item in items]
    with store.write() as connection:
        site = held_site(connection, slug)
        _require_planted(trees, site.time_zone)
        places = _place_ids(connection, site, [tree.place for tree in trees])
        sent = [_tree_cells(tree, places, site.frame) for tree in trees]
        known = _known_alike(connection, schema.tree, site.fid, sent)
        new = [tree for tree in trees if tree.id not in known]
        if new:
            made = changes.begin(connection, site.fid, actor, "entry", "tree")
            shared = {"site_id": site.fid, "change_id": made.fid, "version": 1, "void": 0}
            used = {tree.place: places[tree.place] for tree in new if tree.place}
            _make_places(connection, site, used, shared)
            rows = [{**cells, **shared} for cells in sent if cells["id"] not in known]
            insert_records(connection, schema.tree, rows)
            insert_records(connection, schema.stem, [{**stem, **shared} for t in new for stem in _stems(t)])
    return [tree.id for tree in trees]


def add_areas(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[str]:
    """Make areas (``AreaIn``) as one change; return their ids.

    Raises
    ------
    InvalidRequest
        With every fault, outlines that cannot be used among them.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    return add_records(store, slug, actor, "area", AreaIn, items)


def add_targets(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[str]:
    """Make targets (``TargetIn``) as one change; return their ids.

    Raises
    ------
    InvalidRequest
        With every fault.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    return add_records(store, slug, actor, "target", TargetIn, items)


def add_rounds(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[str]:
    """Make measuring rounds (``RoundIn``) as one change; return their ids.

    Raises
    ------
    InvalidRequest
        With every fault.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    return add_records(store, slug, actor, "round", RoundIn, items)


def add_crews(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[str]:
    """Make crews (``CrewIn``) as one change; return their ids.

    Raises
    ------
    InvalidRequest
        With every fault.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    return add_records(store, slug, actor, "crew", CrewIn, items)


def edit_tree(
    store: Store, slug: str, actor: Actor, tree_id: str, seen_version: int, values: Mapping[str, Any]
) -> int:
    """Write a new version of a tree from a whole ``TreeIn``; return the version's number.

    Raises
    ------
    InvalidRequest
        With every fault.
    NotFound
        If there is no such site or tree.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    tree = parsed(TreeIn, {**values, "id": tree_id})
    with store.write() as connection:
        site = held_site(connection, slug)
        _require_planted([tree], site.time_zone)
        made = changes.begin(connection, site.fid, actor, "edit", "tree")
        shared = {"site_id": site.fid, "change_id": made.fid, "version": 1, "void": 0}
        places = _place_ids(connection, site, [tree.place])
        _make_places(connection, site, places, shared)
        said = _tree_cells(tree, places, site.frame)
        cells = {name: value for name, value in said.items() if name != "id"}
        return revise(connection, schema.tree, site.fid, tree_id, seen_version, cells, made.fid)


_KEPT_UNLESS_SAID = {"counted_on", "valid_from", "valid_to", "place_id"}  # no form asks for them


def edit_shape(
    store: Store, slug: str, actor: Actor, kind: str, id: str, seen_version: int, values: Mapping[str, Any]
) -> int:
    """Write a new version of an area or target; return the version's number.

    Raises
    ------
    InvalidRequest
        With every fault.
    NotFound
        If there is no such site or record.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    return edit_record(
        store, slug, actor, kind, AreaIn if kind == "area" else TargetIn, id, seen_version, values
    )


def edit_record(
    store: Store,
    slug: str,
    actor: Actor,
    kind: str,
    model: type[Sent],
    id: str,
    seen_version: int,
    values: Mapping[str, Any],
) -> int:
    """Write a new version of a record with a shape, of which ``model`` checks the values.

    Raises as :func:`edit_shape`.
    """
    actor.require("manage")
    record = parsed(model, {**values, "id": id})
    with store.write() as connection:
        site = held_site(connection, slug)
        made = changes.begin(connection, site.fid, actor, "edit", kind)
        unsaid = {"id", *(_KEPT_UNLESS_SAID - record.model_fields_set)}
        cells = {name: value for name, value in _cells(record, site.frame).items() if name not in unsaid}
        return revise(connection, TABLES[kind], site.fid, id, seen_version, cells, made.fid)


def cross_out(store: Store, slug: str, actor: Actor, kind: str, id: str, seen_version: int) -> int:
    """Void a tree, area, target, round or crew that was entered by mistake; it counts nowhere.

    Raises
    ------
    NotFound
        If there is no such site or record.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    if kind not in TABLES:
        raise NotFound("kind of record", kind)
    with store.write() as connection:
        site = held_site(connection, slug)
        made = changes.begin(connection, site.fid, actor, "edit", f"crossed out: {kind}")
        return revise(connection, TABLES[kind], site.fid, id, seen_version, {"void": 1}, made.fid)


def _of(model: type[Any], item: Any) -> Any:
    return item if isinstance(item, model) else parsed(model, item)


def add_records(
    store: Store, slug: str, actor: Actor, kind: str, model: type[Sent], items: Sequence[Any]
) -> list[str]:
    """Make versioned records of a kind as one change; return their ids. Raises as :func:`add_areas`."""
    actor.require("manage")
    records = [_of(model, item) for item in items]
    table = TABLES[kind]
    with store.write() as connection:
        site = held_site(connection, slug)
        sent = [_cells(record, site.frame) for record in records]
        known = _known_alike(connection, table, site.fid, sent)
        rows = [row for row in sent if row["id"] not in known]
        if rows:
            made = changes.begin(connection, site.fid, actor, "entry", kind)
            shared = {"site_id": site.fid, "change_id": made.fid, "version": 1, "void": 0}
            insert_records(connection, table, [{**row, **shared} for row in rows])
    return [record.id for record in records]


def _known_alike(connection: Any, table: Any, site_fid: int, sent: Sequence[Mapping[str, Any]]) -> set[str]:
    """Return the ids that are known with the content that is sent (definitions R1)."""
    ids = [cells["id"] for cells in sent]
    for id in known_elsewhere(connection, table, site_fid, ids):
        raise Conflict(table.name, id, None, None)
    found = by_ids(connection, table, site_fid, ids)
    known = first_contents(connection, table, list(found.values()))
    for cells in sent:
        said = {k: v.hex() if isinstance(v, bytes) else v for k, v in cells.items() if k not in _WORKED_OUT}
        first = {name: known[cells["id"]][name] for name in said} if cells["id"] in known else said
        if said != first:
            raise Conflict(table.name, cells["id"], said, first)
    return set(known)


def _require_planted(trees: Sequence[TreeIn], time_zone: str) -> None:
    """A day of planting more than a year ahead is a slip (definitions N6)."""
    latest = (dt.date.fromisoformat(today_in(time_zone)) + dt.timedelta(days=366)).isoformat()
    days = [tree.planted_on for tree in trees if tree.planted_on and tree.planted_on > latest]
    if days:
        raise InvalidRequest([("/planted_on", f"{days[0]} is more than a year ahead; check the date.")])


def _cells(record: Any, frame: str) -> dict[str, Any]:
    said: dict[str, Any] = record.model_dump()
    if "geometry" in said:
        geometry = said.pop("geometry")
        shape = None if geometry is None else outline_of(geometry, frame)
        if isinstance(record, AreaIn) and shape is not None and "Polygon" not in shape.geom_type:
            raise InvalidRequest([("/geometry", "An area needs an outline, not a line or a point.")])
        said["wkb"] = None if shape is None else shape.wkb
    return {name: int(value) if isinstance(value, bool) else value for name, value in said.items()}


def outline_of(geometry: Mapping[str, Any], frame: str) -> Any:
    """Return the shape of a GeoJSON geometry.

    Raises
    ------
    InvalidRequest
        If it cannot be used.
    """
    shape, fault = from_geojson(geometry)
    fault = fault or validity_fault(shape)
    if fault is None and frame == "earth":
        west, south, east, north = shape.bounds
        if not (-180 <= west <= east <= 180 and -90 <= south <= north <= 90):
            fault = "The outline leaves the earth: longitude goes from -180 to 180, latitude from -90 to 90."
    if fault is not None:
        raise InvalidRequest([("/geometry", fault)])
    return shape


def _tree_cells(tree: TreeIn, places: Mapping[str, str], frame: str) -> dict[str, Any]:
    said = tree.model_dump(exclude={"place", "stems"})
    has_lon, has_x = tree.lon_deg is not None, tree.x_m is not None
    if has_lon != (tree.lat_deg is not None) or has_x != (tree.y_m is not None):
        raise InvalidRequest("A position needs both its numbers, or none.")
    if has_lon and frame == "local":
        raise InvalidRequest("This ground has no place on earth yet: give x_m and y_m, or no position.")
    if has_x and frame == "earth":
        raise InvalidRequest("This ground has its place on earth: give lon_deg and lat_deg, or no position.")
    said["place_id"] = places[tree.place] if tree.place else None
    said["cell"] = (
        int(cell(tree.lon_deg, tree.lat_deg)[0])
        if tree.lon_deg is not None and tree.lat_deg is not None
        else None
    )
    said |= name_cells(tree.name_as_written)
    return said


def name_cells(name_as_written: str | None) -> dict[str, Any]:
    """Return the columns that follow from a name as written: scientific name, genus, how sure."""
    if not name_as_written:
        return {"scientific_name": None, "genus": None, "common_name": None, "name_sure": "unknown"}
    found = matched([name_as_written]).iloc[0]
    return {name: found[name] for name in ("scientific_name", "genus", "common_name", "name_sure")}


def _stems(tree: TreeIn) -> list[dict[str, Any]]:
    return [
        {
            "id": str(uuid.uuid5(uuid.UUID(tree.id), str(number))),
            "tree_id": tree.id,
            "number": number,
            "status": "living" if tree.status == "living" else "unknown",  # it shares the fate of its tree
        }
        for number in range(1, tree.stems + 1)
    ]


def _place_ids(connection: Any, site: Any, names: Sequence[str | None]) -> dict[str, str]:
    """Return the ids of named parts of the site; one that was crossed out comes again as another."""
    namer, known, gone = Namer(site.id), place_names(connection, site.fid), void_places(connection, site.fid)
    ids = {}
    for name in filter(None, names):
        id = known.get(name) or namer("place", name)
        while id in gone:
            id = namer("place", id, "again")
        ids[name] = id
    return ids


def _make_places(connection: Any, site: Any, ids: Mapping[str, str], shared: Mapping[str, Any]) -> None:
    known = by_ids(connection, schema.place, site.fid, ids.values())
    new = [{"id": id, "name": name, "kind": "part", **shared} for name, id in ids.items() if id not in known]
    insert_records(connection, schema.place, new)
