"""Areas and targets of a file: outlines in the frame of the site, names, kinds and uses."""

from collections import Counter
from typing import Any

import numpy as np
import shapely
from pyproj import Geod

from layers import columns
from service.errors import InvalidRequest
from service.intake import cells, guess_crs, row_positions
from service.intake.bounded_shapes import from_wkt, validity_fault
from service.intake.column_samples import is_coordinate, is_number, is_wkt, sample
from service.intake.guess_columns import Columns
from service.intake.own_rows import COMPUTED, OWN_IDS, as_it_was, is_ours
from service.intake.prepared import (
    Guess,
    ImportOptions,
    Prepared,
    PreparedShape,
    Question,
    SiteFacts,
)
from service.intake.row_positions import FAR_KM, km_from_box
from service.intake.shape_words import AREA_KINDS, TARGET_KINDS, USES, area_unit, shape_kind, use_of
from service.intake.source_table import SourceTable
from service.intake.words import language, roles_of

_GEOD = Geod(ellps="WGS84")
_POLYGONS = (3, 6)
_COORDINATES = (("lon", "lat"), ("x", "y"))
_ROLES = (
    *("name", "external_id", "record_kind", "use", "keeper", "area_ha", "geometry", "point"),
    *(role for pair in _COORDINATES for role in pair),
)
_NUMBERS = ("area_ha", "lon", "lat", "x", "y")
_NAMES = ("name", "place", "quarter", "tag", "street")
_SMALLEST_M2 = 0.01
_OWN_COMPUTED = {c.name for f in ("area_record", "target_record") for c in columns.FRAMES[f]} | {
    "area_ha",
    "feature id",
    "site",
}


def _assigned(table: SourceTable, options: ImportOptions) -> dict[str, str]:
    out = {word: header for word, header in options.columns.items() if header in table.headers}
    fits = []
    for place, header in enumerate(table.headers):
        for role, fit in roles_of(header).items():
            fits.append((-fit, place, role, header))
    for _, _, role, header in sorted(fits):
        if role not in (*_ROLES, *_NAMES) or header in out.values() or role in out:
            continue
        said = sample(table.column(header))
        if not said or (role == "geometry" and not is_wkt(said[0])):
            continue
        if role == "area_ha" and area_unit(header) is None:
            continue
        reads = is_number if role == "area_ha" else is_coordinate
        if role in _NUMBERS and sum(map(reads, said)) < 0.5 * len(said):
            continue
        out[role] = header
    if "name" not in out:
        other = next((role for role in _NAMES[1:] if role in out), None)
        if other:
            out["name"] = out[other]
    if "kind" in out:
        out["record_kind"] = out.pop("kind")
    _one_place(out, has_shapes=table.geometry is not None or "geometry" in out)
    return {role: header for role, header in out.items() if role in _ROLES}


def _one_place(out: dict[str, str], *, has_shapes: bool) -> None:
    """Keep one way to say where things are: shapes, else a pair of coordinates, else pairs in one column."""
    kept = () if has_shapes else next((pair for pair in _COORDINATES if set(pair) <= out.keys()), ("point",))
    for role in (*(role for pair in _COORDINATES for role in pair), "point"):
        if role not in kept:
            out.pop(role, None)


def prepared_shapes(
    table: SourceTable, options: ImportOptions, site: SiteFacts, layer: str, guesses: list[Guess]
) -> Prepared:
    """Return a file of areas or targets, understood; its hash is set by who calls.

    Raises
    ------
    InvalidRequest
        If an option cannot be, or the file has no shapes where they are needed.
    """
    known = AREA_KINDS if layer == "areas" else TARGET_KINDS
    if options.kind is not None and options.kind not in known:
        raise InvalidRequest(
            [("--kind", f"{options.kind!r} is no kind of {layer}; use one of {', '.join(known)}.")]
        )
    ours = is_ours(table)
    if ours:
        as_it_was(table)
    roles = _own_roles(table) if ours else _assigned(table, options)
    rows = [PreparedShape(row=number) for number in table.rows]
    for place, reason in table.faults.items():
        rows[place].refused = reason
    shapes, said = _as_written(table, roles, rows)
    placed = _placed(shapes, said, table, options, site, rows, roles, guesses)
    rule = _names_and_keys(rows, table, roles)
    if ours:
        rule = _own_ids(rows, table, site) or rule
    _kinds(rows, table, roles, options, layer, guesses)
    _uses(rows, table, roles)
    _typed_areas(rows, table, roles)
    local = site.frame == "local" or (options.crs or "").casefold() == guess_crs.LOCAL
    for row, shape in zip(rows, placed, strict=True):
        _take(row, shape, layer, site, local=local)
    if site.box is None and not local:
        _question_far(rows, placed)
    understood, kept, left_out = _accounts(table, roles, ours=ours)
    for header in kept:
        for row, cell in zip(rows, table.column(header), strict=True):
            if cell:
                row.kept[header] = cell
    return Prepared(
        table.path, layer, table.layer_name, "", rule, shapes=rows, guesses=guesses, understood=understood,
        kept=kept, left_out=left_out,
    )  # fmt: skip


def _accounts(
    table: SourceTable, roles: dict[str, str], *, ours: bool
) -> tuple[dict[str, str], list[str], dict[str, str]]:
    """Return what became of the columns: understood, kept as written, left out with the reason."""
    words = {"record_kind": "kind", "area_ha": "typed_area_ha"}
    understood = {header: words.get(role, role) for role, header in roles.items()}
    left_out = dict(table.left_out)
    if ours:
        understood |= {h: h for h in OWN_IDS if h in table.headers}
        left_out |= {h: COMPUTED for h in table.headers if h in _OWN_COMPUTED and h not in understood}
    kept = []
    for header, column in zip(table.headers, table.columns, strict=True):
        if header in understood or header in left_out:
            continue
        if any(column):
            kept.append(header)
        else:
            left_out[header] = "The column is empty."
    return understood, kept, left_out


def _own_roles(table: SourceTable) -> dict[str, str]:
    """Return the columns of a layer of areas or targets that left a site, by our words."""
    words = {role: role for role in ("name", "use", "keeper", "external_id", "geometry")}
    words |= {"record_kind": "kind", "area_ha": "typed_area_ha"}
    return {role: header for role, header in words.items() if header in table.headers}


def _own_ids(rows: list[PreparedShape], table: SourceTable, site: SiteFacts) -> str | None:
    """Set our own ids where they are known here; elsewhere they are keys like any other."""
    header = next((header for header in OWN_IDS if header in table.headers), None)
    if header is None:
        return None
    for row, cell in zip(rows, table.column(header), strict=True):
        row.source_key = cell or row.source_key
        if cell in site.own_ids:
            row.own_ids[header] = cell
    return f"column {header}"


def _as_written(
    table: SourceTable, roles: dict[str, str], rows: list[PreparedShape]
) -> tuple[list[Any], str | None]:
    if "geometry" not in roles:
        return table.geometry or _points(table, roles, rows), table.crs
    shapes, said = [], table.crs
    for row, cell in zip(rows, table.column(roles["geometry"]), strict=True):
        shape, fault, code = from_wkt(cell)
        shapes.append(shape)
        said = said or code
        row.refused = row.refused or fault
    return shapes, said


def _points(table: SourceTable, roles: dict[str, str], rows: list[PreparedShape]) -> list[Any]:
    """Return points of a pair of columns of coordinates; None where a row has none."""
    questions: dict[int, Question] = {}
    x, y, _, _ = row_positions.as_written(table, Columns(single=roles), questions)
    for place, question in questions.items():
        rows[place].refused = rows[place].refused or question.detail
    known = np.isfinite(x) & np.isfinite(y)
    out = np.full(len(rows), None, dtype=object)
    out[known] = shapely.points(x[known], y[known])
    return list(out)


def _placed(
    shapes: list[Any],
    said: str | None,
    table: SourceTable,
    options: ImportOptions,
    site: SiteFacts,
    rows: list[PreparedShape],
    roles: dict[str, str],
    guesses: list[Guess],
) -> list[Any]:
    """Return the shapes in the frame of the site; what is invalid or has no place there refuses its row."""
    array = np.array(shapes, dtype=object)
    bounds = shapely.bounds(array)
    known = np.isfinite(bounds).all(axis=1)
    if not known.any():
        return shapes
    code = guess_crs.code_of(options.crs) if options.crs else said
    if code is None:
        x, y = bounds[known][:, [0, 2]].ravel(), bounds[known][:, [1, 3]].ravel()
        named = {"lon", "point"} & roles.keys()
        code, guess = guess_crs.guessed(x, y, site, language(table.headers), named_degrees=bool(named))
        guesses.append(guess)
    guess_crs.require_frame(code, site)
    for row, shape in zip(rows, shapes, strict=True):
        if shape is not None and row.refused is None:
            row.refused = validity_fault(shape)
    if code == guess_crs.LOCAL:
        return shapes
    turned = shapely.transform(
        array, lambda xy: np.column_stack(guess_crs.to_wgs84(code, xy[:, 0], xy[:, 1]))
    )
    bounds = shapely.bounds(turned)
    guess_crs.require_in_area(code, bounds[known][:, 0], bounds[known][:, 1])
    fits = (np.abs(bounds[:, ::2]) <= 180).all(axis=1) & (np.abs(bounds[:, 1::2]) <= 90).all(axis=1)
    coordinates_of = shapely.get_num_coordinates(turned)
    for place in np.flatnonzero(known & ~fits & (coordinates_of > 0)):
        rows[place].refused = rows[place].refused or f"The coordinates cannot be in {code}."
    return list(turned)


def _names_and_keys(rows: list[PreparedShape], table: SourceTable, roles: dict[str, str]) -> str:
    names = table.column(roles["name"]) if "name" in roles else [""] * len(rows)
    for place, (row, name) in enumerate(zip(rows, names, strict=True), start=1):
        row.name = name.strip() or (table.layer_name if len(rows) == 1 else f"{table.layer_name} {place}")
    ids = table.column(roles["external_id"]) if "external_id" in roles else None
    if ids is not None:
        for row, cell in zip(rows, ids, strict=True):
            row.external_id = cell.strip() or None
        if len(set(ids)) == len(ids) and all(ids):
            for row, cell in zip(rows, ids, strict=True):
                row.source_key = cell.strip()
            return f"column {roles['external_id']}"
    if len({row.name for row in rows}) == len(rows):
        for row in rows:
            row.source_key = row.name
        return "name"
    seen: Counter[str] = Counter()
    for row in rows:
        seen[row.name] += 1
        if seen[row.name] > 1:
            row.questions.append(
                Question("name", f"{row.name!r} is the name of several rows; it is number {seen[row.name]}.")
            )
        row.source_key = row.name if seen[row.name] == 1 else f"{row.name}#{seen[row.name]}"
    return "name, equal ones numbered in file order"


def _kinds(
    rows: list[PreparedShape],
    table: SourceTable,
    roles: dict[str, str],
    options: ImportOptions,
    layer: str,
    guesses: list[Guess],
) -> None:
    header = roles.get("record_kind")
    words = table.column(header) if header else [""] * len(rows)
    from_names = 0
    for row, cell in zip(rows, words, strict=True):
        kind = options.kind or (shape_kind(cell, layer) if cell else None)
        if kind is None and not cell:
            kind = shape_kind(row.name, layer)
            from_names += kind is not None
        if kind is None and cell and header:
            row.kept[header] = cell
        row.kind = kind or "other"
    if from_names:
        why = "The names of the rows are words for it."
        guesses.append(Guess("kind", f"by name in {from_names} rows", why, 0.7))


def _uses(rows: list[PreparedShape], table: SourceTable, roles: dict[str, str]) -> None:
    if "use" in roles:
        for row, cell in zip(rows, table.column(roles["use"]), strict=True):
            row.use = use_of(cell) if cell else None
            if cell and row.use is None:
                row.kept[roles["use"]] = cell
                detail = (
                    f"{cell[:40]!r} does not say how much people are there; use one of {', '.join(USES)}."
                )
                row.questions.append(Question("use", detail, roles["use"]))
    if "keeper" in roles:
        for row, cell in zip(rows, table.column(roles["keeper"]), strict=True):
            row.keeper = cell.strip() or None


def _typed_areas(rows: list[PreparedShape], table: SourceTable, roles: dict[str, str]) -> None:
    header = roles.get("area_ha")
    if header is None:
        return
    column, factor = table.column(header), area_unit(header) or 1.0
    comma = cells.decimal_comma(column, by_default=table.decimal_comma)
    for row, cell in zip(rows, column, strict=True):
        if not cell or cells.is_missing(cell):
            continue
        value = cells.number(cell, comma=comma)
        if value is not None and value > 0:
            row.typed_area_ha = round(value * factor, 9)
        elif value != 0:
            row.kept[header] = cell
            detail = f"{header}: {cell.strip()[:40]!r} is no area of ground; it was not taken."
            row.questions.append(Question("area", detail, header))


def _question_far(rows: list[PreparedShape], shapes: list[Any]) -> None:
    """Question what lies far from the middle of the other rows, where nothing stands on the site yet."""
    array = np.array(shapes, dtype=object)
    array[[row.wkb is None for row in rows]] = None
    points = shapely.point_on_surface(array)
    for place, away in row_positions.far_from_others(shapely.get_x(points), shapely.get_y(points)).items():
        rows[place].questions.append(
            Question("far_off", f"It lies {away:,.0f} km from the middle of the other rows.")
        )


def _take(row: PreparedShape, shape: Any, layer: str, site: SiteFacts, *, local: bool) -> None:
    """Set the outline of a row, or refuse the row."""
    if row.refused:
        return
    if shape is None:
        if row.own_ids:
            return
        if layer == "targets":
            row.refused = "A target needs a point, line or polygon; this row has none."
        elif row.typed_area_ha is None:
            row.refused = "An area needs an outline or its hectares; this row has neither."
        return
    kind = int(shapely.get_type_id(shape))
    if layer == "areas" and kind not in _POLYGONS:
        row.refused = "An area is a polygon; this row has another shape."
        return
    if kind in _POLYGONS and _area_m2(shape, local=local) < _SMALLEST_M2:
        row.refused = "The polygon encloses no ground."
        return
    if site.box is not None and not local:
        middle = shape.representative_point()
        away = float(km_from_box(middle.x, middle.y, site.box))
        if away > FAR_KM:
            row.questions.append(
                Question("far_off", f"It lies {away:,.0f} km from what stands on this site.")
            )
    row.wkb = shapely.to_wkb(_right_handed(shape), output_dimension=2, byte_order=1)


def _right_handed(shape: Any) -> Any:
    """Return polygons with outer rings against the clock (RFC 7946, 3.1.6), as they leave again."""
    return shapely.orient_polygons(shape) if shapely.get_type_id(shape) in _POLYGONS else shape


def _area_m2(shape: Any, *, local: bool) -> float:
    return float(shape.area) if local else abs(float(_GEOD.geometry_area_perimeter(shape)[0]))
