"""What taking in the records of phones asks the store."""

from collections.abc import Iterable, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from service.store.former import first_contents
from service.store.rows import AT_ONCE
from service.store.schema import (
    change,
    observation,
    photo,
    picture,
    question,
    set_aside,
    status_event,
    stem,
    tree,
)

MOST_WAITING = 2000  # looked at again at a time
_FIRST, _THEN = 20, 2000  # trees that are looked at for a place at a time


def waiting(conn: Connection, site_fid: int) -> Sequence[Row[Any]]:
    """Return what waits for a person, the first that came first."""
    query = (
        sa.select(set_aside)
        .where(set_aside.c.site_id == site_fid, set_aside.c.settled.is_(None), set_aside.c.void == 0)
        .order_by(set_aside.c.fid)
        .limit(MOST_WAITING)
    )
    return conn.execute(query).all()


def waiting_count(conn: Connection, site_fid: int) -> int:
    """Return how much waits for a person."""
    query = sa.select(sa.func.count()).where(
        set_aside.c.site_id == site_fid, set_aside.c.settled.is_(None), set_aside.c.void == 0
    )
    return int(conn.execute(query).scalar_one())


def settled_lately(conn: Connection, site_fid: int, most: int) -> Sequence[Row[Any]]:
    """Return what was settled of all that waited, the latest first."""
    query = (
        sa.select(set_aside)
        .where(set_aside.c.site_id == site_fid, set_aside.c.settled.is_not(None), set_aside.c.void == 0)
        .order_by(set_aside.c.settled_on.desc(), set_aside.c.fid.desc())
        .limit(most)
    )
    return conn.execute(query).all()


def box_of_trees(
    conn: Connection, site_fid: int, frame: str, without: str
) -> tuple[float, float, float, float] | None:
    """Return where trees stand (west, south, east, north; degrees or metres), but those kept with a mark."""
    east, north = (tree.c.x_m, tree.c.y_m) if frame == "local" else (tree.c.lon_deg, tree.c.lat_deg)
    least_most = (sa.func.min(east), sa.func.min(north), sa.func.max(east), sa.func.max(north))
    is_marked = tree.c.kept.contains(without, autoescape=True)
    query = (
        sa.select(*least_most)
        .join(change, change.c.fid == tree.c.change_id)
        .where(tree.c.site_id == site_fid, tree.c.void == 0, change.c.change_no.is_not(None))
        .where(east.is_not(None), north.is_not(None), sa.or_(tree.c.kept.is_(None), ~is_marked))
    )
    west, south, east_most, north_most = conn.execute(query).one()
    return None if west is None else (west, south, east_most, north_most)


def trees_with_tags(conn: Connection, site_fid: int, tags: Iterable[str]) -> dict[str, list[Row[Any]]]:
    """Return the trees that carry numbers and are not crossed out, by number."""
    out: dict[str, list[Row[Any]]] = {}
    wanted = sorted(set(tags))
    for start in range(0, len(wanted), AT_ONCE):
        query = (
            sa.select(tree)
            .join(change, change.c.fid == tree.c.change_id)
            .where(tree.c.site_id == site_fid, tree.c.void == 0, change.c.change_no.is_not(None))
            .where(tree.c.tag.in_(wanted[start : start + AT_ONCE]))
        )
        for row in conn.execute(query.order_by(tree.c.fid)):
            out.setdefault(row.tag, []).append(row)
    return out


def stems_of(conn: Connection, site_fid: int, tree_id: str) -> Sequence[Row[Any]]:
    """Return the trunks of a tree that are not crossed out, by number."""
    query = sa.select(stem).where(stem.c.site_id == site_fid, stem.c.tree_id == tree_id, stem.c.void == 0)
    return conn.execute(query.order_by(stem.c.number)).all()


def removed_trees(conn: Connection, site_fid: int, tree_ids: Iterable[str]) -> set[str]:
    """Return which of these trees are taken out, by the last that somebody settled, else as written."""
    wanted = list(dict.fromkeys(tree_ids))
    last: dict[str, str] = {}
    later = status_event.alias()
    corrected = sa.exists().where(later.c.site_id == site_fid, later.c.supersedes == status_event.c.id)
    for start in range(0, len(wanted), AT_ONCE):
        part = wanted[start : start + AT_ONCE]
        written = sa.select(tree.c.id, tree.c.status).where(tree.c.site_id == site_fid, tree.c.id.in_(part))
        last |= {row.id: row.status for row in conn.execute(written)}
        said = sa.select(status_event.c.subject_id, status_event.c.status).where(
            status_event.c.site_id == site_fid, status_event.c.subject_id.in_(part), ~corrected
        )
        settled = said.where(status_event.c.in_doubt == 0, status_event.c.void == 0)
        by_day = sa.func.coalesce(status_event.c.happened_on, "")
        last |= {
            row.subject_id: row.status for row in conn.execute(settled.order_by(by_day, status_event.c.fid))
        }
    return {id for id, status in last.items() if status == "removed"}


def first_place(conn: Connection, site_fid: int) -> tuple[float, float] | None:
    """Return where the first tree of a site that had a place was put first [deg].

    Later entries, corrections and trees that are crossed out do not change it: what a phone says in metres of
    a plane round it means the same whenever it comes in.
    """
    after, most = 0, _FIRST
    while True:
        query = sa.select(tree).where(tree.c.site_id == site_fid, tree.c.fid > after)
        rows = conn.execute(query.order_by(tree.c.fid).limit(most)).all()
        first = first_contents(conn, tree, rows)
        for row in rows:
            said = first[row.id]
            if said["lon_deg"] is not None and said["lat_deg"] is not None:
                return float(said["lon_deg"]), float(said["lat_deg"])
        if len(rows) < most:
            return None
        after, most = rows[-1].fid, _THEN


def ask(conn: Connection, site_fid: int, change_fid: int, asked: Sequence[tuple[str, str, str, str]]) -> None:
    """Keep questions about records: subject, id, what, the sentence."""
    if asked:
        names = ("subject", "subject_id", "what", "detail")
        shared = {"site_id": site_fid, "change_id": change_fid}
        conn.execute(sa.insert(question), [{**dict(zip(names, one, strict=True)), **shared} for one in asked])


def pictures_of(conn: Connection, site_fid: int, subject_ids: Iterable[str]) -> Sequence[Row[Any]]:
    """Return the pictures of records, the latest first; those that have arrived have a size [px]."""
    later = photo.alias()
    corrected = sa.exists().where(later.c.site_id == site_fid, later.c.supersedes == photo.c.id)
    kept = sa.and_(picture.c.id == photo.c.photo_id, picture.c.site_id == photo.c.site_id)
    query = (
        sa.select(photo, picture.c.width_px, picture.c.height_px, picture.c.file_hash)
        .outerjoin(picture, kept)
        .where(photo.c.site_id == site_fid, photo.c.subject_id.in_(list(subject_ids)))
        .where(photo.c.void == 0, ~corrected)
        .order_by(photo.c.fid.desc())
    )
    return conn.execute(query).all()


def observations_of(conn: Connection, site_fid: int, tree_id: str) -> list[str]:
    """Return the ids of what was seen of a tree."""
    query = sa.select(observation.c.id).where(
        observation.c.site_id == site_fid, observation.c.tree_id == tree_id
    )
    return list(conn.scalars(query))
