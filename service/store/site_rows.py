"""Sites: making one with its terms, and finding it.

A site that a first import is making has no change yet; until that import closes, it is not there.
"""

import re
import uuid
from dataclasses import dataclass
from typing import Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from service.actors import Actor
from service.errors import Conflict, InvalidRequest, NotFound
from service.store import changes
from service.store.engine import Store
from service.store.schema import area, change, place, site, target, tree

_SLUG = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?")
MOST_UNSEEN_CM = 1000.0
LOWEST_BREAST_HEIGHT_M, HIGHEST_BREAST_HEIGHT_M = 1.0, 1.5


@dataclass(frozen=True)
class NewSite:
    """What a new site agrees on; the defaults are those of an import into a site that is not there."""

    slug: str
    name: str = ""
    country: str | None = None
    breast_height_m: float = 1.30
    units: Literal["metric", "us"] = "metric"
    time_zone: str = "UTC"
    frame: Literal["earth", "local"] = "earth"
    invented: bool = False
    phone: str | None = None
    qualified: str | None = None
    unseen_girth_cm: float | None = None
    wind_limit: str | None = None

    def require_usable(self) -> None:
        """Check every term.

        Raises
        ------
        InvalidRequest
            With a sentence for each that cannot be used.
        """
        faults = [
            ("slug", "Use small letters, digits and hyphens, at most 63, for example school-grounds.")
            if not _SLUG.fullmatch(self.slug)
            else None,
            ("breast_height_m", "Give a height between 1.00 and 1.50 m, for example 1.30.")
            if not LOWEST_BREAST_HEIGHT_M <= self.breast_height_m <= HIGHEST_BREAST_HEIGHT_M
            else None,
            ("units", "Say metric or us.") if self.units not in ("metric", "us") else None,
            ("frame", "Say earth or local.") if self.frame not in ("earth", "local") else None,
            ("time_zone", "Give a zone as Area/City, for example Europe/Berlin, or UTC.")
            if not _is_zone(self.time_zone)
            else None,
            ("country", "Give the two capital letters of the country, for example DE.")
            if self.country is not None and not re.fullmatch("[A-Z]{2}", self.country)
            else None,
            ("unseen_girth_cm", "Give a girth between 0 and 10 m, for example 50 cm, or leave it empty.")
            if self.unseen_girth_cm is not None and not 0 <= self.unseen_girth_cm <= MOST_UNSEEN_CM
            else None,
        ]
        found = [fault for fault in faults if fault is not None]
        if found:
            raise InvalidRequest(found)


def create_site(
    store: Store,
    slug: str,
    *,
    actor: Actor,
    name: str | None = None,
    country: str | None = None,
    breast_height_m: float = 1.30,
    units: Literal["metric", "us"] = "metric",
    time_zone: str = "UTC",
    frame: Literal["earth", "local"] = "earth",
    invented: bool = False,
    phone: str | None = None,
    qualified: str | None = None,
    site_id: str | None = None,
) -> Row[Any]:
    """Make a site, which is its first change, and return its row.

    ``phone`` is whom to call when danger is seen, ``qualified`` who is a qualified person here.
    ``site_id`` is the UUID of the site where ids have to be the same in every copy (sample grounds).

    Raises
    ------
    InvalidRequest
        If a term cannot be used.
    Conflict
        If there is a site of that name.
    """
    actor.require("manage")
    terms = NewSite(
        slug, name or "", country, breast_height_m, units, time_zone, frame, invented, phone, qualified
    )
    terms.require_usable()
    with store.write() as conn:
        found = row_of(conn, slug)
        if found is not None and (found.change_no or site_id):
            raise Conflict("site", slug, {"name": name}, {"name": found.name})
        if found is None:
            add_site(conn, terms, site_id)
        else:
            conn.execute(sa.update(site).where(site.c.fid == found.fid).values(_columns(terms)))
        made = row_of(conn, slug)
        assert made is not None
        changes.begin(conn, made.fid, actor, "init")
        return find_site(conn, slug)


def find_site(conn: Connection, slug: str) -> Row[Any]:
    """Return the row of a site.

    Raises
    ------
    NotFound
        If there is none, or its first import has not ended.
    """
    row = row_of(conn, slug)
    if row is None or not row.change_no:
        raise NotFound("site", slug)
    return row


def held_site(conn: Connection, slug: str) -> Row[Any]:
    """Return the row of a site for a transaction that writes: no other change comes between.

    Raises
    ------
    NotFound
        If there is none, or its first import has not ended.
    """
    changes.hold(conn, find_site(conn, slug).fid)
    return find_site(conn, slug)


def row_of(conn: Connection, slug: str) -> Row[Any] | None:
    """Return the row of a site, also of one whose first import has not ended; None where there is none."""
    return conn.execute(sa.select(site).where(site.c.slug == slug)).one_or_none()


def add_site(conn: Connection, terms: NewSite, site_id: str | None = None) -> Row[Any]:
    """Insert a site that nobody sees before its first change, and return its row.

    Raises
    ------
    Conflict
        If somebody else has just made a site of that name.
    """
    id = site_id or str(uuid.uuid4())
    made = sa.insert(site).values(id=id, slug=terms.slug, created_at=changes.now(), **_columns(terms))
    try:
        conn.execute(made)
    except sa.exc.IntegrityError as error:
        raise Conflict("site", terms.slug, {"name": terms.name}, None) from error
    return conn.execute(sa.select(site).where(site.c.slug == terms.slug)).one()


def set_frame(conn: Connection, site_fid: int, frame: str) -> None:
    """Make a site without any position a local or an earthly one."""
    conn.execute(sa.update(site).where(site.c.fid == site_fid).values(frame=frame))


def box_of(conn: Connection, row: Row[Any]) -> tuple[float, float, float, float] | None:
    """Return west, south, east, north [deg, or m on a local ground] of the site's trees; None without."""
    x, y = (tree.c.lon_deg, tree.c.lat_deg) if row.frame == "earth" else (tree.c.x_m, tree.c.y_m)
    found = conn.execute(
        sa.select(sa.func.min(x), sa.func.min(y), sa.func.max(x), sa.func.max(y))
        .join(change, change.c.fid == tree.c.change_id)
        .where(tree.c.site_id == row.fid, tree.c.void == 0, change.c.change_no.is_not(None), x.is_not(None))
    ).one()
    return None if found[0] is None else (found[0], found[1], found[2], found[3])


def has_ground(conn: Connection, row: Row[Any]) -> bool:
    """Whether anything of the site has a position or an outline."""
    if box_of(conn, row) is not None:
        return True
    stood = sa.or_(place.c.lon_deg.is_not(None), place.c.x_m.is_not(None))
    asked = (
        sa.exists().where(area.c.site_id == row.fid, area.c.wkb.is_not(None)),
        sa.exists().where(target.c.site_id == row.fid),
        sa.exists().where(place.c.site_id == row.fid, stood),
    )
    return bool(conn.execute(sa.select(sa.or_(*asked))).scalar())


def _columns(terms: NewSite) -> dict[str, Any]:
    return {
        "name": terms.name or terms.slug,
        "country": terms.country,
        "breast_height_m": terms.breast_height_m,
        "units": terms.units,
        "time_zone": terms.time_zone,
        "frame": terms.frame,
        "invented": int(terms.invented),
        "phone": terms.phone,
        "qualified": terms.qualified,
        "unseen_girth_cm": terms.unseen_girth_cm,
        "wind_limit": terms.wind_limit,
    }


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
