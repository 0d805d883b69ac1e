"""Stands of trees for tests on numbers: records from plain lists, and the figures of them."""

from collections.abc import Sequence
from typing import Any

import pandas as pd

from layers import ground
from layers.figures import figures
from layers.history import StandState, state_at
from layers.inputs import Records, SiteTerms
from tests.builders import make_reading, make_records, make_site, make_stem, make_tree, row

AS_OF = "2025-01-01"


def tree_rows(number: int, positions: Sequence[tuple[float, float]] | None = None, **same: Any) -> list[dict]:
    """Trees t0, t1 ...; positions in metres of a local ground."""
    rows = [
        make_tree(**{"tree_id": f"t{n}", "fid": n + 1, "lon_deg": None, "lat_deg": None, **same})
        for n in range(number)
    ]
    for tree, (x, y) in zip(rows, positions or [], strict=False):
        tree.update(x_m=x, y_m=y)
    return rows


def stem_rows(number: int, **same: Any) -> list[dict]:
    """One stem a tree, s0 on t0 ..."""
    return [
        make_stem(**{"stem_id": f"s{n}", "fid": n + 1, "tree_id": f"t{n}", **same}) for n in range(number)
    ]


def reading_rows(diameters_cm: Sequence[float | None], **same: Any) -> list[dict]:
    """One diameter a stem; None is a stem without a reading."""
    return [
        make_reading(
            **{
                "reading_id": f"r{n}",
                "fid": n + 1,
                "stem_id": f"s{n}",
                "quantity": "diameter",
                "value": size,
                **same,
            }
        )
        for n, size in enumerate(diameters_cm)
        if size is not None
    ]


def area_row(area_id: str, geometry: Any, **changes: Any) -> dict:
    """An area of layer "areas"."""
    default = {"layer": "areas", "name": area_id, "kind": "lawn", "fid": 1, "version": 1, "change_no": 1}
    return row("area_record", **{**default, "area_id": area_id, "geometry": geometry, **changes})


def stand(
    diameters_cm: Sequence[float | None],
    positions: Sequence[tuple[float, float]] | None = None,
    areas: Sequence[dict] = (),
    **same_reading: Any,
) -> Records:
    """Living trees of one stem each, with a diameter each."""
    return make_records(
        trees=tree_rows(len(diameters_cm), positions),
        stems=stem_rows(len(diameters_cm)),
        readings=reading_rows(diameters_cm, **same_reading),
        areas=list(areas),
    )


def local_site(**changes: Any) -> SiteTerms:
    """A ground without a place on earth."""
    return make_site(**{"frame": "local", **changes})


def figures_of(
    records: Records,
    terms: SiteTerms | None = None,
    as_of: str = AS_OF,
    state: StandState | None = None,
    **given: Any,
) -> list[dict[str, Any]]:
    """The figures of records at a day, the way of the whole program."""
    terms = terms or local_site()
    state = state or state_at(records, terms, as_of)
    areas = ground.areas_ha(records.areas, terms)
    return figures(
        state.stem_state,
        state.stem_parts,
        state.causes,
        ground.membership(records.trees, areas, terms),
        trees=records.trees,
        areas=areas,
        terms=terms,
        as_of=as_of,
        known_at=7,
        **given,
    )


def figure_of(rows: list[dict[str, Any]], area_id: str | None) -> dict[str, Any]:
    """The row of an area."""
    return next(each for each in rows if each["area_id"] == area_id)


def shuffled(frame: pd.DataFrame, order: Sequence[int]) -> pd.DataFrame:
    """The rows of a frame in another order."""
    return frame.iloc[list(order)].reset_index(drop=True)
