"""Prepared files for the tests of import: what a reader of files hands over, built by hand."""

import copy
from pathlib import Path

import sqlalchemy as sa

from service.actors import LOCAL_MANAGER
from service.intake.import_site import ground_of
from service.intake.prepared import (
    ImportOptions,
    Prepared,
    PreparedObservation,
    PreparedReading,
    PreparedRow,
    PreparedShape,
)
from service.intake.taking import take
from service.store import schema
from service.store.import_rows import own_ids
from service.store.site_rows import create_site, row_of

SITE_ID = "5b0f2f5e-3f0e-4d0a-9a3f-0d8f6c3f1a01"
WHAT_PEOPLE_SAID = (
    schema.place, schema.tree, schema.stem, schema.reading, schema.observation, schema.status_event,
    schema.area, schema.target, schema.question, schema.source_key,
)  # fmt: skip
NOT_COMPARED = ("fid", "site_id", "change_id", "received_at")


def girth(value, column="girth", **more):
    return PreparedReading(column, 1, "girth", "cm", value, **more)


def tree_row(number, **changes):
    """Tree number n, tagged n, a lime 0.001 degrees from its neighbour, with a girth of 100 cm + n."""
    default = {
        "source_key": str(number),
        "tag": str(number),
        "name_as_written": "Tilia cordata",
        "scientific_name": "Tilia cordata",
        "name_sure": "sure",
        "genus": "Tilia",
        "lon_deg": 9.0 + number / 1000,
        "lat_deg": 47.0,
        "position_source": "file",
        "readings": [girth(100.0 + number)],
    }
    return PreparedRow(row=number + 1, **{**default, **changes})


def shape(number, **changes):
    """Area number n: a square of 0.001 degrees."""
    import shapely

    square = shapely.box(9 + number / 100, 47, 9.001 + number / 100, 47.001)
    default = {"source_key": str(number), "name": f"Area {number}", "kind": "lawn", "wkb": square.wkb}
    return PreparedShape(row=number + 1, **{**default, **changes})


def prepared(
    *rows, layer="trees", name="list", said=("tag", "species", "position", "girth"), kept=(), hash=None
):
    """A file of these rows; it has columns for the words ``said``, and ``kept`` ones kept as written."""
    listed = copy.deepcopy(list(rows))
    return Prepared(
        Path(f"{name}.csv"),
        layer,
        name,
        hash or repr(listed),
        "the column id is unique",
        trees=listed if layer == "trees" else [],
        shapes=listed if layer != "trees" else [],
        understood={f"column of {word}": word for word in said},
        kept=list(kept),
    )


def take_in(store, file, slug="park", *, place="", site_id=SITE_ID, dry_run=False, **options):
    """Import a prepared file as the command does, into a site whose UUID is always the same."""
    with store.read() as conn:
        known = row_of(conn, slug)
    if known is None:
        create_site(store, slug, actor=LOCAL_MANAGER, site_id=site_id)
    with store.read() as conn:
        ground = ground_of(conn, slug, ImportOptions(**options))
        ids = own_ids(conn, ground.fid)
    return take(store, file, ground, place, ids, LOCAL_MANAGER, dry_run=dry_run)


def rows_of(store, table, *where):
    """Rows of a table that everybody sees, in the order they were written."""
    seen = sa.select(schema.change.c.fid).where(schema.change.c.change_no.is_not(None))
    query = sa.select(table).where(table.c.change_id.in_(seen), *where).order_by(table.c.fid)
    with store.read() as conn:
        return conn.execute(query).all()


def said_by_people(store):
    """All that everybody sees, without when it was written: equal for two ways to the same state."""
    out = {}
    for table in WHAT_PEOPLE_SAID:
        names = [name for name in table.c.keys() if name not in NOT_COMPARED]  # noqa: SIM118
        out[table.name] = sorted(
            (tuple(getattr(row, name) for name in names) for row in rows_of(store, table)), key=repr
        )
    return out


def seen(value, column="height", what="height"):
    return PreparedObservation(column, what, value, "m")
