"""Files that left here and come back: our own words and ids, understood without guessing (definitions R2).

What was computed is left out; ids that are known here match the rows, and nothing is guessed.
"""

import json
import math
from collections.abc import Callable
from typing import Any

from layers import columns
from layers.hands import CM_PER_SAID
from service.errors import InvalidRequest
from service.intake import cells, day_cells
from service.intake.geojson_file import FEATURE_ID
from service.intake.name_matching import matched_names
from service.intake.prepared import Guess, Prepared, PreparedReading, PreparedRow, Question, SiteFacts
from service.intake.source_table import SourceTable
from service.outlets.formula_guard import restored
from service.outlets.layer_rows import AS_WRITTEN

OWN_IDS = ("tree_id", "stem_id", "reading_id", "area_id", "target_id")
COMPUTED = "computed"
LABEL = "name"  # that our KML gives the mark of a tree: its tag
BY_DAY = "computed for a day; a status is changed on the page of its tree, with the day from which it holds"
LOOKED_AT = 2_000  # rows in which an id that is known here is looked for
_NEVER = {  # layers that leave and do not come in by file, and words that only they have together
    "things to look at": {"flag_key", "rule"},
    "inspections": {"inspection_id", "level"},
    "figures": {"known_at", "basal_area_m2"},
    "places": {"place_id", "name", "position_source", "change_no"},
}

_TREE_TEXT = (
    "tag", "place", "scientific_name", "name_as_written", "common_name", "genus", "position_source", "keeper",
    "planted_on", "external_id",
)  # fmt: skip
_TREE_NUMBER = ("lon_deg", "lat_deg", "x_m", "y_m", "position_accuracy_m")
_ONLY_OURS = ("name_as_written", "external_id", "position_source", "position_accuracy_m")
_READING_TEXT = ("quantity", "parts", "unit", "instrument", "measured_on", "date_precision", "note")
_READING_NUMBER = ("value", "value_2", "class_from_cm", "class_to_cm", "height_m", "resolution")
_EXTRA_TEXT = ("calibration_id", "recorded_at", "crew", "crew_kind", "round_id", "side", "rule", "awkward")
_EXTRA_NUMBER = ("tilt_deg", "first_guess", "first_entry")
_WORDS = {c.name for frame in ("trees", "tree_record", "stem_record", "stem_state", "reading_record") for c in
          columns.FRAMES[frame]}  # fmt: skip
_TREE_WORDS = frozenset(columns.names("trees"))  # all that the layer of trees has of ours
_SHAPE_WORDS = {c.name for frame in ("area_record", "target_record") for c in columns.FRAMES[frame]} | {
    "area_ha"
}


def known_ids(table: SourceTable, site: SiteFacts) -> list[str]:
    """Return the id columns of ours in a file that carry UUIDs known here."""
    if not site.own_ids:
        return []
    return [
        header
        for header in OWN_IDS
        if header in table.headers and not site.own_ids.isdisjoint(table.column(header)[:LOOKED_AT])
    ]


def require_importable(table: SourceTable, site: SiteFacts) -> None:
    """Check that a file is no layer of ours that holds only what is computed or written on pages.

    Nor this site's own trees as tags: they carry no reading, and would come in a second time.

    Raises
    ------
    InvalidRequest
        If it is one.
    """
    as_tags = {"tree_id", "natural"} <= set(table.headers)
    if as_tags and not site.own_ids.isdisjoint(table.column("tree_id")):
        raise InvalidRequest(
            f"{table.path.name} holds this ground's own trees as tags of OpenStreetMap, which change nothing "
            "here. Import the layer trees, or a list of measurements."
        )
    for layer, words in _NEVER.items():
        if words <= set(table.headers):
            raise InvalidRequest(
                f"{table.path.name} is a list of {layer} that left here; it cannot be imported. "
                "Import trees, readings, areas or targets."
            )


def is_ours(table: SourceTable) -> bool:
    """Return whether a file has the words of a layer that left a site, known here or not."""
    known = sum(header in _WORDS or header in _SHAPE_WORDS for header in table.headers)
    return known >= 8 and any(header in table.headers for header in OWN_IDS)


def require_trees(table: SourceTable) -> None:
    """Check that a layer of ours that left another site can stand by itself here: one of trees can.

    Raises
    ------
    InvalidRequest
        If it holds stems or readings, which belong to trees that are not known here.
    """
    for header, layer in (("reading_id", "readings"), ("stem_id", "stems")):
        if header in table.headers:
            raise InvalidRequest(
                f"{table.path.name} is a list of {layer} whose trees are not known on this site. Import it "
                "into the site that it left, or import the list of trees of that site here."
            )


def computed_headers(table: SourceTable) -> dict[str, str]:
    """Return the columns of a layer that left another site that are computed: header -> reason.

    The standard diameter stays: it is the only size that the layer of trees carries.
    """
    recorded = {*columns.names("tree_record")} - {"fid", "version", "change_no"}
    stays = recorded | {"tree_id", "dbh_cm", "last_measured_on"}
    computed = {h: COMPUTED for h in table.headers if h in columns.names("trees") and h not in stays}
    if FEATURE_ID in table.headers and _is_feature_id(table, FEATURE_ID):
        computed[FEATURE_ID] = "It is the running number that the format gives its rows."
    return computed


def apply_words(rows: list[PreparedRow], table: SourceTable) -> dict[str, str]:
    """Set what only our own layer of trees says of trees of another site; return the columns understood."""
    understood = {h: h for h in _ONLY_OURS if h in table.headers}
    for header in understood:
        for row, cell in zip(rows, table.column(header), strict=True):
            value = cells.number(cell) if header in _TREE_NUMBER else cell
            placed = row.lon_deg is not None or row.x_m is not None
            if cell and value is not None and (placed or not header.startswith("position")):
                setattr(row, header, value)
    return understood


def as_it_was(table: SourceTable) -> None:
    """Take off the quotes that our CSV has before text that a spreadsheet would run."""
    if table.form == "csv":
        table.headers = [restored(header) for header in table.headers]
        table.columns = [[restored(cell) for cell in column] for column in table.columns]


def prepared_own(table: SourceTable, site: SiteFacts, guesses: list[Guess]) -> Prepared:
    """Return a file of trees, stems or readings that left this site; its hash is set by who calls."""
    as_it_was(table)
    rows = [PreparedRow(row=number) for number in table.rows]
    for place, reason in table.faults.items():
        rows[place].refused = reason
    ids = [header for header in OWN_IDS if header in table.headers]
    for header in ids:
        for row, cell in zip(rows, table.column(header), strict=True):
            if cell:
                row.own_ids[header] = cell
    understood = {header: header for header in ids}
    if "reading_id" in ids:
        understood |= _readings(rows, table, site)
    elif "stem_id" not in ids:
        understood |= _trees(rows, table)
    of_trees = "stem_id" not in ids and "reading_id" not in ids
    ours = _TREE_WORDS if of_trees else _WORDS
    left_out = {h: COMPUTED for h in table.headers if h in ours and h not in understood}
    if "status" in left_out and "reading_id" not in ids:
        left_out["status"] = BY_DAY
    kept = _kept(rows, table, understood, left_out) if "reading_id" not in ids else []
    left_out |= {h: COMPUTED for h in table.headers if h not in understood and h not in kept}
    guesses.append(Guess("file", "one that left here", "It carries our own ids, which are known here.", 1.0))
    return Prepared(
        table.path, "trees", table.layer_name, "", f"our own {ids[-1] if 'reading_id' in ids else ids[0]}",
        trees=rows, guesses=guesses, understood=understood, kept=kept, left_out=left_out,
    )  # fmt: skip


def _text(cell: str) -> str | None:
    return cell or None


def _set(rows: list[Any], table: SourceTable, header: str, read: Callable[[str], Any]) -> None:
    """Set an attribute of every row; a cell that is no number questions the row."""
    for row, cell in zip(rows, table.column(header), strict=True):
        value = read(cell) if cell else None
        if cell and value is None:
            row.questions.append(Question("size", f"{header}: {cell[:40]!r} is no number.", header))
        setattr(row, header, value)


def _trees(rows: list[PreparedRow], table: SourceTable) -> dict[str, str]:
    understood = {h: h for h in (*_TREE_TEXT, *_TREE_NUMBER) if h in table.headers}
    for header in understood:
        _set(rows, table, header, cells.number if header in _TREE_NUMBER else _text)
    if table.geometry is not None and "lon_deg" not in table.headers:
        for row, shape in zip(rows, table.geometry, strict=True):
            if shape is not None and shape.geom_type == "Point":
                row.lon_deg, row.lat_deg = shape.x, shape.y
    for row in rows:
        _check_position(row)
    names = {row.name_as_written for row in rows if row.name_as_written}
    matches = matched_names(sorted(names))
    for row in rows:
        match = matches.get(row.name_as_written or "")
        if row.scientific_name is not None:
            same = match is not None and match.scientific_name == row.scientific_name
            row.name_sure = match.name_sure if match and same else "sure"
    return understood


def _check_position(row: PreparedRow) -> None:
    lon, lat = row.lon_deg, row.lat_deg
    if lon is None or lat is None:
        if (lon is None) != (lat is None):
            row.refused = row.refused or "Only one of longitude and latitude is given."
        return
    if not (math.isfinite(lon) and math.isfinite(lat) and abs(lon) <= 180 and abs(lat) <= 90):
        row.refused = row.refused or f"Longitude {lon:g} and latitude {lat:g} are no place on earth."


def _readings(rows: list[PreparedRow], table: SourceTable, site: SiteFacts) -> dict[str, str]:
    understood = {
        header: header
        for header in (*_READING_TEXT, *_READING_NUMBER, *_EXTRA_TEXT, *_EXTRA_NUMBER)
        if header in table.headers
    }
    numbers = {*_READING_NUMBER, *_EXTRA_NUMBER}
    said = {header: table.column(header) for header in understood}
    stems = table.column("number") if "number" in table.headers else ["1"] * len(rows)
    for place, row in enumerate(rows):
        values: dict[str, Any] = {}
        for header, column in said.items():
            cell = column[place]
            values[header] = (cells.number(cell) if header in numbers else cell) if cell else None
            if cell and values[header] is None:
                row.refused = row.refused or f"{header}: {cell[:40]!r} is no number."
        row.refused = row.refused or _reading_fault(values, site)
        if row.refused is None:
            extra = {h: values.pop(h) for h in (*_EXTRA_TEXT, *_EXTRA_NUMBER) if h in values}
            values = {h: v for h, v in values.items() if v is not None}
            number = int(stems[place]) if stems[place].isdigit() else 1
            reading = PreparedReading("reading", number, values.pop("quantity"), values.pop("unit"), **values)
            reading.extra = {h: v for h, v in extra.items() if v is not None}
            row.readings.append(reading)
    return understood


def _reading_fault(values: dict[str, Any], site: SiteFacts) -> str | None:
    """Return why a reading cannot be, or None."""
    quantity, unit = values.get("quantity"), values.get("unit")
    if quantity not in ("girth", "diameter", "class") or unit not in CM_PER_SAID:
        return f"{quantity!r} in {unit!r} is no reading; a girth, diameter or class has a unit such as cm."
    for header in ("value", "value_2"):
        value = values.get(header)
        factor = CM_PER_SAID[unit] * (math.pi if quantity == "diameter" else 1.0)
        if value is not None and not 0 < value * factor <= 4_500:
            return f"{header}: {value:g} {unit} is no size of a trunk."
    if quantity != "class" and values.get("value") is None:
        return "The reading has no value."
    day = values.get("measured_on")
    found = day_cells.day(day) if day else None
    if day and (found is None or found[1] != "day"):
        return f"measured_on: {day[:40]!r} is no day; write YYYY-MM-DD."
    if found and day_cells.later(found[0], site.today, 366):
        return f"measured_on: {day} lies more than a year in the future."
    return None


def _kept(
    rows: list[PreparedRow], table: SourceTable, understood: dict[str, str], left_out: dict[str, str]
) -> list[str]:
    """Keep the columns that other files had brought, under their own headers."""
    kept = []
    for header in table.headers:
        if header in understood or header in left_out or _is_feature_id(table, header):
            continue
        kept.append(header)
        plain = header
        while plain.endswith(AS_WRITTEN):
            plain = plain.removesuffix(AS_WRITTEN)
        for row, cell in zip(rows, table.column(header), strict=True):
            if cell and header == "kept":
                row.kept |= _object(cell)
            elif cell:
                row.kept[plain] = cell
    return kept


def _is_feature_id(table: SourceTable, header: str) -> bool:
    """Return whether a column is a geometry, a label, or the number that our GeoJSON gives its features."""
    if header == LABEL and table.form == "kml":
        return "tag" in table.headers and table.column(header) == table.column("tag")
    if header != FEATURE_ID:
        return header == "geometry"
    numbers = table.column("fid") if "fid" in table.headers else []
    return not any(numbers) or table.column(header) == numbers


def _object(cell: str) -> dict[str, str]:
    try:
        found = json.loads(cell)
    except (ValueError, RecursionError):
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}
