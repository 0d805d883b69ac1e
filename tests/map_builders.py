"""A small invented ground as frames, and its map: for the tests of maps, in Python and in the browser."""

from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from layers import columns, map_document, maps
from tests.builders import make_site, row

STATIC = Path(__file__).parent.parent / "service" / "web" / "static"
DAY = "2026-06-01"
WEST, SOUTH, WIDE, HIGH = 9.170, 47.660, 0.003, 0.0015
LOCAL_WIDE, LOCAL_HIGH = 200.0, 120.0

# Text that would run, break out or be computed somewhere, if it were ever taken for more than text.
HOSTILE = (
    "{{7*7}}",
    "{% for a in b %}",
    "{# no end",
    "${window.ran = 1}",
    "`${window.ran = 1}`",
    "</script><script>window.ran = 1</script>",
    "<img src=x onerror='window.ran = 1'>",
    "<!-- <script>",
    "'\"><svg onload=window.ran=1>",
    "\\'; window.ran = 1; //",
    "{size} {error} $& $1",
    "line one\nline\u2028two",
    "%(name)s %s",
    "]]> &lt;b&gt; &amp;",
)


def place_of(x, y, frame="earth"):
    """A point of the unit square on the ground."""
    if frame == "local":
        return x * LOCAL_WIDE, y * LOCAL_HIGH
    return WEST + x * WIDE, SOUTH + y * HIGH


def box_of(x0, y0, x1, y1, frame="earth"):
    return shapely.box(*place_of(x0, y0, frame), *place_of(x1, y1, frame))


def make_trees(number=40, frame="earth", tags=()):
    """Trees of all sizes: tree 2 is not measured, tree 3 dead, tree 4 without a position."""
    rng = np.random.default_rng(11)
    sizes = np.round(np.linspace(4, 118, number), 1)
    places = rng.random((number, 2)) * 0.9 + 0.05
    rows = []
    for i in range(number):
        x, y = place_of(*places[i], frame)
        rows.append(
            row(
                "trees",
                tree_id=f"00000000-0000-4000-8000-{i:012d}",
                tag=tags[i] if i < len(tags) else f"T{i + 1:03d}",
                place="North yard" if i % 2 else "Along the road",
                common_name="small-leaved lime" if i % 3 else "field maple",
                scientific_name="Tilia cordata" if i % 3 else "Acer campestre",
                status="dead" if i == 3 else "living",
                stems=1,
                dbh_cm=np.nan if i == 2 else sizes[i],
                dbh_se_cm=np.nan if i == 2 else 1.0,
                measured_as=None if i == 2 else f"girth {sizes[i] * np.pi:.0f} cm at 1.00 m",
                last_measured_on=None if i == 2 else "2026-05-12",
                questions_asked=3,
                questions_not_askable=2,
                keeper="ours",
                lon_deg=x if frame == "earth" and i != 4 else np.nan,
                lat_deg=y if frame == "earth" and i != 4 else np.nan,
                x_m=x if frame == "local" and i != 4 else np.nan,
                y_m=y if frame == "local" and i != 4 else np.nan,
            )
        )
    return columns.shaped("trees", pd.DataFrame(rows))


def make_flags(trees):
    """An open sign at tree 5, a gap at tree 6, an answered sign at tree 7."""
    kinds = {5: ("sign", None), 6: ("gap", None), 7: ("sign", "looked at, nothing to do")}
    rows = [
        row(
            "flags",
            flag_key=f"crack:{i}",
            tree_id=trees["tree_id"][i],
            kind=kind,
            words="Is the crack still open?" if kind == "sign" else "How high is it?",
            evidence="crack written down on 2026-05-12 by volunteers" if kind == "sign" else None,
            answered=answered,
        )
        for i, (kind, answered) in kinds.items()
    ]
    return columns.shaped("flags", pd.DataFrame(rows))


def make_areas(frame="earth", names=("School ground", "North yard", "Wood corner")):
    boxes = ((-0.03, -0.03, 1.03, 1.03), (0, 0.5, 0.5, 1), (0.55, 0, 1, 1))
    kinds = ("boundary", "play area", "woodland")
    rows = [
        row("area_record", area_id=f"a{i}", layer="parts" if i else "grounds", name=name, kind=kind)
        | {"geometry": box_of(*box, frame)}
        for i, (name, kind, box) in enumerate(zip(names, kinds, boxes, strict=True))
    ]
    return columns.shaped("area_record", pd.DataFrame(rows))


def make_figures():
    values = {"a1": (9.1, 55.0), "a2": (27.9, 140.0)}
    return [
        row("figures", area_id=area_id, layer="parts", trees=12, stems=12, area_ha=0.5)
        | {"basal_area_m2_per_ha": area, "basal_area_se_m2_per_ha": 0.5, "stems_per_ha": stems}
        for area_id, (area, stems) in values.items()
    ]


def make_targets(frame="earth", name="Path to the gate"):
    path = shapely.LineString([place_of(0, 0.45, frame), place_of(1, 0.5, frame)])
    rows = [
        row("target_record", target_id="t1", name=name, kind="path", use="every day") | {"geometry": path}
    ]
    return columns.shaped("target_record", pd.DataFrame(rows))


def make_places(frame="earth", name="gap by the gate"):
    x, y = place_of(0.52, 0.2, frame)
    earth = frame == "earth"
    return pd.DataFrame(
        {
            "name": [name, "North yard"],
            "kind": ["gap", "part"],
            "lon_deg": [x if earth else np.nan, np.nan],
            "lat_deg": [y if earth else np.nan, np.nan],
            "x_m": [np.nan if earth else x, np.nan],
            "y_m": [np.nan if earth else y, np.nan],
        }
    )


def make_document(*, number=40, frame="earth", terms=None, tags=(), said=None, **more):
    """The map's document of the ground; ``said`` is put in place of every name."""
    terms = terms or make_site(frame=frame, phone="01 234 567")
    trees = make_trees(number, frame, tags)
    areas = make_areas(frame, *([(said, said, said)] if said else []))
    flags = make_flags(trees)
    if said:
        named = ["place", "common_name", "scientific_name", "name_as_written", "measured_as", "growth_words"]
        trees[named] = said
        flags[["words", "evidence"]] = said
        areas["layer"] = said
    return map_document.map_document(
        trees,
        map_document.areas_with_figures(areas, make_figures()),
        make_targets(frame, *([said] if said else [])),
        make_places(frame, *([said] if said else [])),
        flags,
        terms,
        DAY,
        **{"tree_url": "/sites/school/trees/{tree_id}", **more},
    )


def asset_texts():
    """The texts of the browser files of a map, as the self-contained file takes them."""
    return {name: (STATIC / name).read_text(encoding="utf-8") for name in (*maps.STYLES, *maps.SCRIPTS)}
