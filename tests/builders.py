"""One valid site, tree, stem and reading each; a test overrides the one thing it is about."""

from typing import Any

import pandas as pd

from layers import columns
from layers.column_kinds import Kind
from layers.inputs import Records, SiteTerms

SITE_ID = "5b0f2f5e-3f0e-4d0a-9a3f-0d8f6c3f1a01"
TREE_ID = "7c9e6679-7425-40de-944b-e07fc1f90a01"
STEM_ID = "7c9e6679-7425-40de-944b-e07fc1f90b01"
READING_ID = "7c9e6679-7425-40de-944b-e07fc1f90c01"

_MISSING: dict[Kind, Any] = {
    "float": float("nan"),
    "int": pd.NA,
    "flag": False,
}


def make_site(**changes: Any) -> SiteTerms:
    """A school ground in Europe with everything agreed on."""
    return SiteTerms(**{"site_id": SITE_ID, "slug": "school", "name": "School ground", **changes})


def row(frame: str, **values: Any) -> dict[str, Any]:
    """A row of a frame of the nomenclature: what is not given is missing."""
    unknown = set(values) - set(columns.names(frame))
    if unknown:
        raise KeyError(f"{frame} has no {', '.join(sorted(unknown))}")
    blank = {column.name: _MISSING.get(column.kind) for column in columns.FRAMES[frame]}
    return {**blank, **values}


def make_tree(**changes: Any) -> dict[str, Any]:
    """A living lime tree with a tag and a position."""
    default = {
        "tree_id": TREE_ID,
        "fid": 1,
        "tag": "T1",
        "scientific_name": "Tilia cordata",
        "name_as_written": "Tilia cordata",
        "name_sure": "sure",
        "common_name": "small-leaved lime",
        "genus": "Tilia",
        "status": "living",
        "lon_deg": 9.17,
        "lat_deg": 47.66,
        "position_source": "file",
        "position_accuracy_m": 1.0,
        "keeper": "ours",
        "kept": {},
        "version": 1,
        "change_no": 1,
    }
    return row("tree_record", **{**default, **changes})


def make_stem(**changes: Any) -> dict[str, Any]:
    """The main stem of that tree."""
    default = {"stem_id": STEM_ID, "fid": 1, "tree_id": TREE_ID, "number": 1, "status": "living"}
    return row("stem_record", **{**default, "version": 1, "change_no": 1, **changes})


def make_reading(**changes: Any) -> dict[str, Any]:
    """A girth of 100 cm of that stem, read by trained staff with a tape at 1.30 m."""
    default = {
        "reading_id": READING_ID,
        "fid": 1,
        "stem_id": STEM_ID,
        "quantity": "girth",
        "value": 100.0,
        "unit": "cm",
        "instrument": "girth tape",
        "height_m": 1.30,
        "resolution": 1.0,
        "measured_on": "2024-05-14",
        "date_precision": "day",
        "received_at": "2024-05-14T10:00:00Z",
        "crew": "A",
        "crew_kind": "trained staff",
        "change_no": 1,
    }
    return row("reading_record", **{**default, **changes})


def frame_of(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Rows as a frame of the nomenclature, with its types."""
    blank = columns.empty(name)
    if not rows:
        return blank
    return pd.DataFrame(rows, columns=list(blank.columns)).astype(blank.dtypes.to_dict())


def make_records(**rows: list[dict[str, Any]]) -> Records:
    """Records of a site from rows by kind (trees=[...], stems=[...], readings=[...] ...)."""
    kinds = {
        "trees": "tree_record",
        "stems": "stem_record",
        "readings": "reading_record",
        "observations": "observation_record",
        "status_events": "status_event",
        "areas": "area_record",
        "targets": "target_record",
        "inspections": "inspection_record",
    }
    return Records(**{kind: frame_of(kinds[kind], given) for kind, given in rows.items()})
