"""A file, understood: bytes to ``Prepared``, with every guess and what became of each column."""

import hashlib
import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from service.collecting import nothing_to_collect
from service.errors import InvalidRequest, Unreadable
from service.intake import (
    day_cells,
    guess_columns,
    guess_crs,
    name_rows,
    osm_list,
    own_rows,
    size_columns,
    size_rows,
    tree_rows,
)
from service.intake.closed_process import FORMS, read_closed
from service.intake.decode import read_csv
from service.intake.geojson_file import read_geojson
from service.intake.geopackage import read_geopackage
from service.intake.guess_columns import Columns
from service.intake.prepared import Guess, ImportOptions, Prepared, PreparedRow, SiteFacts
from service.intake.row_positions import Positions, positions
from service.intake.shape_layer import layer_of
from service.intake.shape_rows import prepared_shapes
from service.intake.source_table import SourceTable
from service.intake.words import language

_NORTH_AMERICA = (-168.0, 24.0, -52.0, 72.0)  # west, south, east, north [deg]: the US and Canada
_TEXT = (".csv", ".txt", ".tsv", ".tab")
_GEOJSON = (".geojson", ".json")
_OF_A_SHAPEFILE = (".shp", ".shx", ".dbf", ".prj", ".cpg")
ENDINGS = (*_TEXT, *_GEOJSON, ".gpkg", *FORMS)  # of files that are read


@nothing_to_collect()
def prepare(path: Path, options: ImportOptions, site: SiteFacts) -> Prepared:
    """Return what a file says, row by row, with the guesses and the account of its columns.

    Raises
    ------
    Unreadable
        If the file cannot be read as what it claims to be.
    Ask
        If two readings of the file are about equally likely.
    InvalidRequest
        If an option cannot be, or does not fit the file or the site.
    """
    if options.crs is not None:
        guess_crs.code_of(options.crs)
    table = read_table(path, options.layer)
    own_rows.require_importable(table, site)
    guesses = list(table.guesses)
    ours = own_rows.known_ids(table, site)
    layer = _own_layer(ours) or _tagged_layer(table, options) or layer_of(table, options, guesses)
    if ours and layer == "trees":
        prepared = own_rows.prepared_own(table, site, guesses)
    elif layer == "trees":
        prepared = _trees(table, options, site, guesses)
    else:
        prepared = prepared_shapes(table, options, site, layer, guesses)
    prepared.file_hash = file_hash(path, options)
    return prepared


def _own_layer(ours: list[str]) -> str | None:
    """Return the layer that our own ids in a file tell."""
    for header, layer in (("tree_id", "trees"), ("stem_id", "trees"), ("reading_id", "trees")):
        if header in ours:
            return layer
    return "areas" if "area_id" in ours else "targets" if "target_id" in ours else None


def _tagged_layer(table: SourceTable, options: ImportOptions) -> str | None:
    """Return trees where tags of the map say so; rows of trees are lines there, but no targets."""
    ours = options.layer is not None or own_rows.is_ours(table)
    return "trees" if not ours and osm_list.holds_trees(table) else None


def read_table(path: Path, layer: str | None = None) -> SourceTable:
    """Return the table of a file by its extension; of several tables the one of the layer.

    Raises
    ------
    Unreadable
        If the file is not there, is of a kind that is not read, or cannot be read as what it claims to be.
    Ask
        If it holds several tables, and the layer tells which is meant.
    InvalidRequest
        If it holds several tables and none of them is told.
    """
    if not path.is_file():
        raise Unreadable(f"There is no file {path.name}; check the name and the folder.")
    extension = path.suffix.casefold()
    if extension in _TEXT:
        return read_csv(path)
    if extension in _GEOJSON:
        return read_geojson(path)
    if extension == ".gpkg":
        return read_geopackage(path, layer)
    if extension in FORMS:
        return read_closed(path, layer)
    if extension in _OF_A_SHAPEFILE:
        raise Unreadable(
            f"{path.name} is one of the files of a shapefile; pack .shp, .dbf, .prj and .cpg into one "
            "zip, or export the list as CSV, GeoJSON or GeoPackage."
        )
    raise Unreadable(
        f"{path.name} is of a kind that is not read here; export the list as CSV, GeoJSON or GeoPackage."
    )


def file_hash(path: Path, options: ImportOptions) -> str:
    """Return the hash of a file's content and of the options it is read with."""
    digest = hashlib.sha256(json.dumps(asdict(options), sort_keys=True).encode())
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _this_year(site: SiteFacts) -> int:
    return int(site.today[:4]) if site.today else 2100


def _trees(table: SourceTable, options: ImportOptions, site: SiteFacts, guesses: list[Guess]) -> Prepared:
    ours = own_rows.is_ours(table)
    if ours:
        own_rows.require_trees(table)
        own_rows.as_it_was(table)
        table.left_out |= own_rows.computed_headers(table)
    tags = None if ours else osm_list.tags_of(table, guesses)
    columns = guess_columns.assigned(table, options, _this_year(site), tags.known if tags else {})
    if tags is not None:
        columns.fills = tags.fills
        osm_list.with_usual_units(columns)
    _require_options(options, columns, site)
    guesses += columns.guesses
    placed = positions(table, columns, options, site, language(table.headers), guesses)
    american = _north_america(placed, site)
    size_columns.settle(table, columns, options, american, guesses)
    rows = tree_rows.started(table, placed)
    if tags is not None:
        osm_list.refuse_others(rows, table)
        osm_list.tell(table, columns, options, guesses)
    rule = tree_rows.apply_keys(rows, table, columns, guesses)
    _attributes(rows, table, columns, options, site, bool(american), guesses)
    understood, kept = _accounts(table, columns)
    if ours:
        understood |= own_rows.apply_words(rows, table)
        kept = [header for header in kept if header not in understood]
    tree_rows.apply_kept(rows, table, kept)
    return Prepared(
        table.path,
        "trees",
        table.layer_name,
        "",
        rule,
        trees=rows,
        guesses=guesses,
        understood=understood,
        kept=kept,
        left_out=columns.left_out,
    )


def _require_options(options: ImportOptions, columns: Columns, site: SiteFacts) -> None:
    said = options.measured_on
    if said and columns.single.get("measured_on") != said:
        fault = _fault_of_day(said, site)
        if fault:
            raise InvalidRequest([("--measured-on", f"{said!r} {fault}")])
    if options.height_m is not None and not 0.0 <= options.height_m <= 10.0:
        raise InvalidRequest(
            [
                (
                    "--height-m",
                    f"{options.height_m:g} m is no height to measure a trunk at; say 1.3, for example.",
                )
            ]
        )


def _fault_of_day(said: str, site: SiteFacts) -> str | None:
    given = day_cells.day(said)
    if given is None:
        return "is no day (write YYYY-MM-DD) and no column of the file."
    if day_cells.is_ambiguous(said):
        return "may be two days, by which of its numbers is the month; write YYYY-MM-DD."
    if day_cells.later(day_cells.first_of(given), site.today, 366):
        return "lies more than a year in the future."
    return None


def _north_america(placed: Positions, site: SiteFacts) -> bool | None:
    """Return whether the trees stand in the US or Canada, None where that is not known."""
    if placed.any() and not placed.local:
        lon, lat = float(np.nanmedian(placed.first)), float(np.nanmedian(placed.second))
    elif site.box is not None:
        lon, lat = (site.box[0] + site.box[2]) / 2, (site.box[1] + site.box[3]) / 2
    else:
        return None
    west, south, east, north = _NORTH_AMERICA
    return west <= lon <= east and south <= lat <= north


def _attributes(
    rows: list[PreparedRow],
    table: SourceTable,
    columns: Columns,
    options: ImportOptions,
    site: SiteFacts,
    american: bool,
    guesses: list[Guess],
) -> None:
    order = _day_order(table, columns, american, guesses)
    measured = tree_rows.days(table, columns, options, site, order)
    for place, reason in measured.refused.items():
        rows[place].refused = rows[place].refused or reason
    for place, question in measured.questions.items():
        rows[place].questions.append(question)
    tree_rows.apply_kinds(rows, table, columns, guesses)
    tree_rows.apply_place(rows, table, columns, options)
    name_rows.apply_names(rows, table, columns, guesses)
    tree_rows.apply_status(rows, table, columns, guesses)
    tree_rows.apply_keeper(rows, table, columns)
    planted = tree_rows.apply_planted(rows, table, columns, site, order)
    rules = size_rows.rules(table, columns.sizes)
    heights = tree_rows.measuring_heights(rows, table, columns, options, guesses)
    size_rows.apply_sizes(rows, table, rules, measured.of_rows, heights)
    tree_rows.question_planted(rows, columns, planted)
    inches = any(column.unit == "in" for column in columns.sizes)
    for column in columns.measures:
        unit, comma = size_rows.measure_unit(table, column, inches=inches, guesses=guesses)
        size_rows.apply_measures(rows, table, column, unit, comma, measured.of_rows)
    of_trees = [c.header for c in (*columns.sizes, *columns.measures)]
    of_trees += [
        columns.single[role] for role in ("measured_on", "status", "planted_on") if role in columns.single
    ]
    tree_rows.keep_of_places(rows, table, of_trees)
    tree_rows.refuse_empty(rows, columns)


def _day_order(table: SourceTable, columns: Columns, american: bool, guesses: list[Guess]) -> day_cells.Order:
    headers = [columns.single[role] for role in ("measured_on", "planted_on") if role in columns.single]
    said = [cell for header in headers for cell in table.column(header)]
    order, why, sure = day_cells.order_of(said, north_america=american)
    if day_cells.ambiguous(said):
        guesses.append(Guess("dates", order, why, sure))
    return order


def _accounts(table: SourceTable, columns: Columns) -> tuple[dict[str, str], list[str]]:
    """Return what became of the columns: header -> our word, and those kept as written."""
    word_of = {header: role for role, header in columns.single.items()}
    word_of |= {c.header: str(c.what) for c in (*columns.sizes, *columns.measures)}
    understood = {header: word_of[header] for header in table.headers if header in word_of}
    kept = [h for h in table.headers if h not in understood and h not in columns.left_out]
    return understood, kept
