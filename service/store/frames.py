"""Reading a site: its terms and its records as the frames that the layers compute on.

Records of a change without a number (an import under way) are never read; void versions are left out.
"""

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely
import sqlalchemy as sa
from sqlalchemy import Table
from sqlalchemy.engine import Connection, Row

from layers import columns
from layers.column_kinds import Column
from layers.corrections import LIVE, corrected
from layers.danger_state import with_reports
from layers.inputs import DEFAULT_BREAKS_CM, US_BREAKS_CM, Records, SiteTerms
from layers.round_choice import UNSEEN_GIRTH_CM
from layers.site_model import PUBLISHED, SiteModel
from service.collecting import nothing_to_collect
from service.store import schema
from service.store.former import versions_at

# frame column -> table column, where the words differ
_ID_OF = {
    "tree_record": "tree_id",
    "stem_record": "stem_id",
    "reading_record": "reading_id",
    "observation_record": "observation_id",
    "status_event": "status_event_id",
    "area_record": "area_id",
    "target_record": "target_id",
}


def terms_of(row: Any, model: SiteModel = PUBLISHED) -> SiteTerms:
    """Return what a site agreed on, from its row, and the error model that it uses."""
    default = US_BREAKS_CM if row.units == "us" else DEFAULT_BREAKS_CM
    breaks = tuple(json.loads(row.size_class_breaks_cm)) if row.size_class_breaks_cm else default
    return SiteTerms(
        site_id=row.id,
        slug=row.slug,
        name=row.name,
        breast_height_m=row.breast_height_m,
        breaks_cm=breaks,
        units=row.units,
        frame=row.frame,
        time_zone=row.time_zone,
        country=row.country,
        phone=row.phone,
        qualified=row.qualified,
        unseen_girth_cm=UNSEEN_GIRTH_CM if row.unseen_girth_cm is None else row.unseen_girth_cm,
        wind_limit=row.wind_limit,
        inspection_months=json.loads(row.inspection_months) if row.inspection_months else {},
        model=model,
    )


def records_of(connection: Connection, site_fid: int, known_at: int | None = None) -> Records:
    """Return every record of a site as it is, or as it was known at a change number."""
    with nothing_to_collect():
        return _records(connection, site_fid, known_at)


def _records(connection: Connection, site_fid: int, known_at: int | None) -> Records:
    places = _kept_frame(_versioned(connection, schema.place, site_fid, known_at), schema.place)
    trees = _versioned_frame(connection, "tree_record", schema.tree, site_fid, known_at)
    names = dict(zip(places["id"], places["name"], strict=True)) if len(places) else {}
    trees["place"] = [names.get(place) for place in trees["place_id"]]
    trees["kept"] = [json.loads(text) if text else {} for text in trees["kept"]]
    reports = _plain(connection, schema.danger_report, site_fid, known_at)
    observations = _appended_frame(connection, "observation_record", schema.observation, site_fid, known_at)
    return Records(
        trees=trees,
        stems=_versioned_frame(connection, "stem_record", schema.stem, site_fid, known_at),
        readings=_appended_frame(connection, "reading_record", schema.reading, site_fid, known_at),
        observations=with_reports(observations, reports),
        status_events=_appended_frame(connection, "status_event", schema.status_event, site_fid, known_at),
        areas=_shapes("area_record", connection, schema.area, site_fid, known_at),
        targets=_shapes("target_record", connection, schema.target, site_fid, known_at),
        inspections=_inspections(connection, site_fid, known_at),
        places=places,
        findings=_plain(connection, schema.finding, site_fid, known_at),
        rounds=_kept_frame(_versioned(connection, schema.round_, site_fid, known_at), schema.round_),
        crews=_kept_frame(_versioned(connection, schema.crew, site_fid, known_at), schema.crew),
        questions=_plain(connection, schema.question, site_fid, known_at),
        settlings=_plain(connection, schema.settling, site_fid, known_at),
        plan_images=_kept_frame(
            _versioned(connection, schema.plan_image, site_fid, known_at), schema.plan_image
        ),
        calibrations=_plain(connection, schema.calibration, site_fid, known_at),
        danger_reports=reports,
        danger_answers=_plain(connection, schema.danger_answer, site_fid, known_at),
        closures=_drawn(connection, schema.closure, site_fid, known_at),
        hazards=_drawn(connection, schema.hazard, site_fid, known_at),
    )


def _rows(
    connection: Connection, table: Table, site_fid: int, known_at: int | None, picked: Sequence[Any] = ()
) -> Sequence[Row[Any]]:
    """The rows of a site by number: the picked columns (all by default), their change number last."""
    change = schema.change
    query: Any = (
        sa.select(*(picked or list(table.columns)), change.c.change_no)
        .join(change, change.c.fid == table.c.change_id)
        .where(table.c.site_id == site_fid, change.c.change_no.is_not(None))
        .order_by(table.c.fid)
    )
    if known_at is not None and "version" not in table.c:
        query = query.where(change.c.change_no <= known_at)
    rows: Sequence[Row[Any]] = connection.execute(query).all()
    return rows


def _versioned(
    connection: Connection, table: Table, site_fid: int, known_at: int | None, picked: Sequence[Any] = ()
) -> list[Sequence[Any]]:
    rows: Sequence[Sequence[Any]] = _rows(connection, table, site_fid, known_at, picked)
    if known_at is not None:
        rows = versions_at(connection, table, site_fid, rows, known_at)
    void = [column.name for column in picked or table.columns].index("void")
    return [row for row in rows if not row[void]]


def _picked(frame: str, table: Table, known_at: int | None) -> list[Any]:
    """The columns of a table that a frame is made of; all of them where former versions are looked up."""
    needed = {"fid", "id", "void", "wkb", *columns.names(frame)}
    return [column for column in table.columns if known_at is not None or column.name in needed]


def _versioned_frame(
    connection: Connection, frame: str, table: Table, site_fid: int, known_at: int | None
) -> pd.DataFrame:
    picked = _picked(frame, table, known_at)
    return _frame(frame, _versioned(connection, table, site_fid, known_at, picked), picked)


def _frame(frame: str, rows: Sequence[Sequence[Any]], picked: Sequence[Any]) -> pd.DataFrame:
    headers = [*(column.name for column in picked), "change_no"]
    cells = dict(zip(headers, zip(*rows, strict=True), strict=True)) if rows else {}
    cells[_ID_OF.get(frame, "id")] = cells.get("id", ())
    return pd.DataFrame({c.name: _series(c, cells.get(c.name), len(rows)) for c in columns.FRAMES[frame]})


def _series(column: Column, cells: Sequence[Any] | None, length: int) -> pd.Series:
    values = cells if cells is not None else [None] * length
    if column.kind == "float":
        return pd.Series(np.array(values, dtype=float))
    if column.kind == "int":
        return pd.Series(values, dtype="Int64")
    if column.kind == "flag":
        return pd.Series([bool(v) for v in values], dtype=bool)
    return pd.Series(list(values), dtype=object)


def _kept_frame(rows: Sequence[Sequence[Any]], table: Table) -> pd.DataFrame:
    headers = [*table.c.keys(), "change_no"]
    cells = list(zip(*rows, strict=True)) if rows else [()] * len(headers)
    return pd.DataFrame({h: pd.Series(list(c), dtype=object) for h, c in zip(headers, cells, strict=True)})


def _appended_frame(
    connection: Connection, frame: str, table: Table, site_fid: int, known_at: int | None
) -> pd.DataFrame:
    picked = _picked(frame, table, known_at)
    return _frame(frame, _rows(connection, table, site_fid, known_at, picked), picked)


def _plain(connection: Connection, table: Table, site_fid: int, known_at: int | None) -> pd.DataFrame:
    return _kept_frame(_rows(connection, table, site_fid, known_at), table)


def _shapes(
    frame: str, connection: Connection, table: Table, site_fid: int, known_at: int | None
) -> pd.DataFrame:
    rows = _versioned(connection, table, site_fid, known_at)
    out = _frame(frame, rows, list(table.columns))
    at = list(table.c.keys()).index("wkb")
    out["geometry"] = pd.Series(
        [shapely.from_wkb(row[at]) if row[at] else None for row in rows], dtype=object
    )
    return out


def _drawn(connection: Connection, table: Table, site_fid: int, known_at: int | None) -> pd.DataFrame:
    """A versioned table as it is, its shapes as ``geometry``."""
    out = _kept_frame(_versioned(connection, table, site_fid, known_at), table)
    shapes = [shapely.from_wkb(wkb) if wkb else None for wkb in out["wkb"]]
    return out.drop(columns="wkb").assign(geometry=pd.Series(shapes, index=out.index, dtype=object))


def _inspections(connection: Connection, site_fid: int, known_at: int | None) -> pd.DataFrame:
    """One row per inspected tree; an inspection of a zone without listed trees is one row without a tree."""
    looks = _live(_plain(connection, schema.inspection, site_fid, known_at))
    answers = _plain(connection, schema.inspection_answer, site_fid, known_at)
    looks = looks.rename(columns={"id": "inspection_id", "note": "look_note"})
    merged = looks.merge(
        answers[["inspection_id", "tree_id", "answer", "note"]], on="inspection_id", how="left", sort=False
    )
    merged["note"] = _first_said(merged, "note", "look_note", "not_seen")
    return columns.shaped("inspection_record", merged)


def _live(rows: pd.DataFrame) -> pd.DataFrame:
    """The looks that hold; a correction may name another zone or other trees."""
    state = corrected(rows.assign(subject=""), "id", "subject")["state"]
    return rows[(state == LIVE).to_numpy(dtype=bool)].reset_index(drop=True)


def _first_said(rows: pd.DataFrame, *names: str) -> pd.Series:
    cells = zip(*(rows[name] for name in names), strict=True)
    return pd.Series(
        [next((c for c in row if isinstance(c, str) and c), None) for row in cells], dtype=object
    )
