"""A small site at a day, as the outlets see one: two trees, one unplaced with a hostile name."""

from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd
import shapely

from layers import columns
from layers.inputs import Records, SiteTerms
from service.outlets.exported_rows import exported_rows
from service.outlets.held_layer import HeldLayer
from tests.builders import TREE_ID, frame_of, make_reading, make_records, make_site, make_stem, make_tree, row

OTHER_TREE = "7c9e6679-7425-40de-944b-e07fc1f90a02"
AREA_ID = "7c9e6679-7425-40de-944b-e07fc1f90d01"
PLACE_ID = "7c9e6679-7425-40de-944b-e07fc1f90e01"
HOSTILE = "=HYPERLINK(\"http://127.0.0.1\",'x')"
SQUARE = shapely.box(9.16, 47.65, 9.18, 47.67)  # clockwise or not: the outlet turns it


@dataclass
class Stems:
    stem_state: pd.DataFrame


@dataclass
class View:
    terms: SiteTerms
    records: Records
    trees: pd.DataFrame
    areas: pd.DataFrame
    flags: pd.DataFrame
    figures: list[dict[str, Any]]
    state: Stems
    as_of: str = "2024-06-01"
    known_at: int = 3
    extra: dict[str, Any] = field(default_factory=dict)


def leaving_tree(**changes: Any) -> dict[str, Any]:
    """A row of the table of trees."""
    default = {
        "tree_id": TREE_ID,
        "fid": 1,
        "tag": "T1",
        "site": "school",
        "scientific_name": "Tilia cordata",
        "status": "living",
        "stems": 1,
        "dbh_cm": 31.830988618379067,
        "signs": ["dead branch"],
        "circumstances": [],
        "lon_deg": 9.17,
        "lat_deg": 47.66,
    }
    return row("trees", **{**default, **changes})


def areas_frame(**changes: Any) -> pd.DataFrame:
    """One area with its hectares."""
    default = {"area_id": AREA_ID, "fid": 1, "name": "Yard", "kind": "lawn", "place_id": PLACE_ID}
    frame = frame_of("area_record", [row("area_record", **{**default, "geometry": SQUARE, **changes})])
    return frame.assign(area_ha=[334.0])


def places_frame() -> pd.DataFrame:
    """One named part, as the store hands it out."""
    place = {"id": PLACE_ID, "fid": 1, "name": "North", "kind": "part", "lon_deg": None, "lat_deg": None}
    place |= {"x_m": None, "y_m": None, "version": 1, "change_no": 1, "kept": '{"Straße": "Hauptweg"}'}
    return pd.DataFrame([place], dtype=object)


def site_records() -> Records:
    """What was said: two trees, a stem with a girth, an inspection of one tree, a bench."""
    looked = {"inspection_id": "i1", "fid": 1, "inspected_on": "2024-05-01"}
    bench = {"target_id": "t1", "fid": 1, "name": "bench", "geometry": shapely.Point(9.17, 47.66)}
    records = make_records(
        trees=[
            make_tree(kept={"Pflege": "2023", "Status": "fällen?"}),
            make_tree(tree_id=OTHER_TREE, fid=2, tag=HOSTILE, lon_deg=float("nan"), lat_deg=float("nan")),
        ],
        stems=[make_stem()],
        readings=[
            make_reading(),
            make_reading(reading_id="late", fid=2, measured_on="2024-07-01"),
            make_reading(reading_id="undated", fid=3, measured_on=None, received_at="2024-06-02T03:00:00Z"),
        ],
        targets=[row("target_record", **bench)],
        inspections=[
            row("inspection_record", tree_id=tree_id, **looked) for tree_id in (TREE_ID, OTHER_TREE)
        ],
    )
    return replace(records, places=places_frame())


def make_view(**changes: Any) -> View:
    """The site on the first of June 2024."""
    figure = dict.fromkeys(columns.names("figures")) | {"trees": 2, "basal_area_m2": 0.0795775}
    stem = row("stem_state", stem_id=make_stem()["stem_id"], tree_id=TREE_ID, status="living", dbh_cm=31.83)
    flag = row("flags", flag_key="no height|x", fid=1, tree_id=TREE_ID, kind="gap", rule="no height", order=1)
    default: dict[str, Any] = {
        "terms": make_site(phone="112", time_zone="America/New_York"),
        "records": site_records(),
        "trees": frame_of(
            "trees",
            [
                leaving_tree(),
                leaving_tree(
                    tree_id=OTHER_TREE, fid=2, tag=HOSTILE, dbh_cm=float("nan"), signs=[],
                    lon_deg=float("nan"), lat_deg=float("nan"),
                ),
            ],
        ),
        "areas": areas_frame(),
        "flags": frame_of("flags", [flag]),
        "figures": [
            figure | {"name": "School ground", "size_classes": [{"from_cm": 0, "to_cm": 10, "stems": 1}]},
            figure | {"area_id": AREA_ID, "name": "Yard", "why": {"shannon": "one species only"}},
            figure | {"area_id": PLACE_ID, "name": "North"},
        ],
        "state": Stems(frame_of("stem_state", [stem])),
    }  # fmt: skip
    return View(**{**default, **changes})


def layer_of(view: View, name: str) -> HeldLayer:
    """A layer of the site, as the writers take it."""
    return HeldLayer(exported_rows(view, name))
