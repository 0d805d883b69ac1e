"""Very many invented trees as a layer in parts, with the columns trees leave with; the same each time."""

import json

import numpy as np

from layers.inputs import Records, SiteTerms
from service.layer_parts import LayerFacts, LayerPart
from service.outlets.held_layer import HeldLayer
from service.outlets.layer_rows import layer_rows
from service.view import SiteView

SEED = 7
PART = 5000
MIDDLE_DEG = (9.17, 47.66)
SPREAD_DEG = 0.15
SPECIES = ("Acer platanoides", "Tilia cordata", "Quercus robur", "Platanus × hispanica", "Malus domestica")
SIGNS = ("dead branch", "crack in the stem")


def synthetic_layer(rows, slug="million", as_of="2026-06-01"):
    """Return the facts of a layer of trees, and an iterator of its parts."""
    empty = SiteView(SiteTerms("id", slug, "Very many"), Records(), as_of, 0, "manager", invented=True)
    held = HeldLayer(layer_rows(empty, "trees")).facts
    half = SPREAD_DEG / 2
    west, south = MIDDLE_DEG[0] - half, MIDDLE_DEG[1] - half
    facts = LayerFacts(
        layer="trees",
        site=slug,
        as_of=as_of,
        known_at=1,
        local=False,
        shape_kind="Point",
        columns=held.columns,
        rows=rows,
        box=(west, south, west + SPREAD_DEG, south + SPREAD_DEG),
        caution=held.caution,
    )
    return facts, _parts(facts, rows)


def _parts(facts, rows):
    draw = np.random.default_rng(SEED)
    for start in range(0, rows, PART):
        ids = list(range(start + 1, min(start + PART, rows) + 1))
        at = np.round(np.array(facts.box[:2]) + SPREAD_DEG * draw.random((len(ids), 2)), 7)
        dbh = np.round(8 + 90 * draw.beta(2, 4, len(ids)), 14)
        cells = [_cells(facts, *one) for one in zip(ids, *at.T.tolist(), dbh.tolist(), strict=True)]
        yield LayerPart(ids, cells, at[:, 0].tolist(), at[:, 1].tolist(), None)


def _cells(facts, fid, lon, lat, dbh):
    said = {
        "tree_id": f"00000000-0000-4000-8000-{fid:012x}",
        "fid": fid,
        "tag": f"T-{fid}",
        "site": facts.site,
        "place": f"Straße {fid % 997}",
        "scientific_name": SPECIES[fid % 5],
        "name_as_written": SPECIES[fid % 5],
        "genus": SPECIES[fid % 5].split()[0],
        "status": "living" if fid % 50 else "dead",
        "stems": 1 + (fid % 17 == 0),
        "dbh_cm": dbh,
        "dbh_se_cm": dbh / 60,
        "dbh_source": "measured",
        "measured_as": f"girth {dbh * 3.1416:.0f} cm at 1.30 m",
        "basal_area_m2": dbh * dbh * 7.853981633974483e-05,
        "basal_area_se_m2": dbh * dbh * 2e-06,
        "size_class": f"{int(dbh // 20) * 20} to {int(dbh // 20) * 20 + 20} cm",
        "height_m": 12.5 if fid % 3 else None,
        "growth_cm_per_yr": 0.31 if fid % 4 else None,
        "last_measured_on": f"20{10 + fid % 15}-0{1 + fid % 9}-{10 + fid % 18}" if fid % 20 else None,
        "signs": json.dumps([SIGNS[fid % 2]] if fid % 9 == 0 else []),
        "circumstances": "[]",
        "questions_asked": 9,
        "questions_not_askable": 3,
        "position_source": "file",
        "position_accuracy_m": 1.0,
        "external_id": str(fid),
        "lon_deg": lon,
        "lat_deg": lat,
    }
    return tuple(said.get(name) for name in facts.names)
