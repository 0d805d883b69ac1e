"""Lists whose columns are tags of OpenStreetMap: how they are told, what each tag is, what is no tree.

References
----------
OpenStreetMap wiki: Tag:natural=tree; Key:circumference (metres, 1.3 m above ground; in an older text 1 m);
Key:diameter (millimetres unless a unit is written); Key:diameter_crown, Key:height (metres);
Key:species, Key:genus, Key:taxon (scientific names; plain names under ``species:xx``); Key:denotation;
Map features/Units; Overpass turbo/GeoJSON (``@id`` such as node/123). Key:start_date, Key:survey:date and the
sub-keys of Key:check_date: from memory.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from layers import columns
from service.intake import cells, own_rows
from service.intake.column_samples import sample, share
from service.intake.geojson_file import FEATURE_ID
from service.intake.guess_columns import Columns
from service.intake.prepared import Guess, ImportOptions, PreparedRow, Question
from service.intake.source_table import SourceTable

TREE_KINDS = frozenset({"tree", "tree_row", "tree_stump"})  # values of natural
_TAKEN = frozenset({"tree", "tree_stump", "shrub"})
_ONLY_HERE = re.compile(
    r"diameter_crown|leaf_type|leaf_cycle|denotation|(?:species|genus|taxon):(?:wikidata|cultivar|[a-z]{2,3})"
)
_PLAIN_NAME = re.compile(r"(?:species|taxon|genus):[a-z]{2,3}")
_USUAL_UNIT = {"circumference": "m", "diameter": "mm", "height": "m", "diameter_crown": "m"}
_ROLES = {
    "ref": "tag",
    "circumference": "girth",
    "diameter": "diameter",
    "height": "height",
    "diameter_crown": "crown",
    "start_date": "planted_on",
    "natural": "record_kind",
    "@lat": "lat",
    "@lon": "lon",
    "genus": "genus",
    "taxon:cultivar": "cultivar",
}
_FIRST_OF = {"species": ("species", "taxon"), "measured_on": ("check_date:circumference", "survey:date")}
_SAYS_TREE = ("species", "genus", "taxon", "circumference", "diameter_crown", "leaf_type", "denotation")
_ID_HEADERS = ("@id", "full_id", "osm_id", "id", FEATURE_ID)
_TYPE_HEADERS = ("@type", "osm_type", "type")
_OBJECT = re.compile(r"(node|way|relation|[nwr])/?([0-9]{1,19})")
_OBJECTS = {"n": "node", "w": "way", "r": "relation"}
_EDITORS = ("@user", "@uid", "@changeset")


@dataclass
class Tags:
    """What the tags of a list are."""

    known: dict[str, str] = field(default_factory=dict)  # header -> our word, or kept
    fills: dict[str, list[str]] = field(default_factory=dict)  # our word -> headers that fill its gaps


def holds_trees(table: SourceTable) -> bool:
    """Return whether most values of the tag ``natural`` are those of trees."""
    if "natural" not in table.headers:
        return False
    return share(sample(table.column("natural")), TREE_KINDS.__contains__) >= 0.5


def tags_of(table: SourceTable, guesses: list[Guess]) -> Tags | None:
    """Return what the columns of a list of tags are, None where no sure sign says that it is one.

    Objects of the map get one way to be called in the table (``node/123``), and columns that say the same
    again, or who edited the map, are left out of it.
    """
    if table.headers == columns.names("osm_trees"):  # they left here
        own_rows.as_it_was(table)
    ids = _object_ids(table)
    why = _sign(table, ids)
    if why is None:
        return None
    guesses.append(Guess("file", "tags of OpenStreetMap", why, 0.97))
    known = {header: role for header, role in _ROLES.items() if header in table.headers}
    for role, headers in _FIRST_OF.items():
        known |= dict.fromkeys([h for h in headers if h in table.headers][:1], role)
    fills: dict[str, list[str]] = {}
    fills["species"] = [h for h in table.headers if h in ("taxon", "genus") and known.get(h) != "species"]
    fills["species"].sort(reverse=True)  # taxon says more than genus
    plain = [header for header in table.headers if _PLAIN_NAME.fullmatch(header)]
    plain.sort(key=lambda header: table.column(header).count(""))
    if plain:
        known[plain[0]], fills["common_name"] = "common_name", plain[1:]
    known |= _called(table, ids)
    for header in _EDITORS:
        if header in table.headers:
            table.left_out[header] = "It says who edited the map, nothing of the tree."
    for header in table.headers:  # what is left is no header that anybody chose: its words mean nothing more
        if (":" in header or "@" in header) and header not in known and header not in table.left_out:
            known[header] = "kept"
    return Tags(known, fills)


def _object_ids(table: SourceTable) -> dict[str, list[str]]:
    """Return the columns that call objects of the map, in one way: header -> node/123 of each row."""
    kinds = next((table.column(header) for header in _TYPE_HEADERS if header in table.headers), None)
    out = {}
    for header in _ID_HEADERS:
        if header not in table.headers:
            continue
        column = table.column(header)
        if kinds is not None and all(map(str.isdecimal, filter(None, column))):
            column = [f"{kind}/{cell}" if cell else "" for kind, cell in zip(kinds, column, strict=True)]
        found = [_OBJECT.fullmatch(cell) for cell in column]
        if any(found) and all(match or not cell for match, cell in zip(found, column, strict=True)):
            out[header] = [f"{_OBJECTS.get(m[1], m[1])}/{m[2]}" if m else "" for m in found]
    return out


def _sign(table: SourceTable, ids: Mapping[str, object]) -> str | None:
    """Return by what a list is known to hold tags of the map, in a sentence."""
    if "natural" in table.headers and not TREE_KINDS.isdisjoint(table.column("natural")):
        return "The column 'natural' says tree, as OpenStreetMap does."
    for header in ids:
        return f"The column {header!r} calls objects of OpenStreetMap, such as node/123."
    numbers = [cell for cell in table.column("osm_id") if cell] if "osm_id" in table.headers else []
    if numbers and all(map(str.isdecimal, numbers)):
        return "The column 'osm_id' calls objects of OpenStreetMap by their numbers."
    only = [header for header in table.headers if _ONLY_HERE.fullmatch(header)]
    if len(only) >= 2:
        return f"Headers such as {only[0]!r} and {only[1]!r} are tags of OpenStreetMap."
    return None


def _called(table: SourceTable, ids: Mapping[str, list[str]]) -> dict[str, str]:
    """Write the ids of the rows in one way; return the column that has them, others are left out."""
    if not ids:
        return {"osm_id": "external_id"} if "osm_id" in table.headers else {}
    first = next(iter(ids))
    table.columns[table.headers.index(first)] = ids[first]
    again = [header for header in ids if header != first and ids[header] == ids[first]]
    again += [header for header in ("@type", "osm_type") if header in table.headers]
    table.left_out |= dict.fromkeys(again, f"It says the same as {first!r}.")
    return {first: "external_id"}


def with_usual_units(found: Columns) -> None:
    """Note the units that tags have where none is written."""
    found.sizes = [replace(c, usual=_USUAL_UNIT.get(c.header)) for c in found.sizes]
    found.measures = [replace(c, usual=_USUAL_UNIT.get(c.header)) for c in found.measures]


def refuse_others(rows: Sequence[PreparedRow], table: SourceTable) -> None:
    """Refuse rows that are objects of the map but no single trees, stumps or shrubs."""
    if "natural" not in table.headers:
        return
    telling = [table.column(header) for header in _SAYS_TREE if header in table.headers]
    for place, (row, kind) in enumerate(zip(rows, table.column("natural"), strict=True)):
        if row.refused or kind in _TAKEN:
            continue
        if kind == "tree_row":
            row.refused = "natural: a tree_row is a line of trees, none of which is told by itself."
        elif kind:
            row.refused = f"natural: {kind[:40]!r} is no single tree."
        elif not any(column[place] for column in telling):
            row.refused = "natural is empty, and no other tag says that this is a tree."
        else:
            detail = "natural is empty; its other tags are those of a tree, so it was taken as one."
            row.questions.append(Question("kind", detail, "natural"))


def tell(table: SourceTable, found: Columns, options: ImportOptions, guesses: list[Guess]) -> None:
    """Say at which height tags mean sizes, and that several sizes of a tree are those of its trunks."""
    tagged = [column.header for column in found.sizes if column.usual]
    if tagged and options.height_m is None and "measuring_height" not in found.single:
        why = (
            "The tags mean 1.3 m above ground, in an older text 1 m, and the rows do not say it: sizes count "
            "as taken at the standard height of the ground, with more doubt. --height-m says it."
        )
        guesses.append(Guess("height of measuring", "not said", why, 0.7))
    several = sum(
        ";" in cell and not cells.is_missing(cell) for header in tagged for cell in table.column(header)
    )
    if several:
        why = "Sizes with ';' between them are those of several trunks (common practice, no source)."
        guesses.append(Guess("stems", f"in {several:,} rows", why, 0.8))
