"""The site that is imported into: as it is, or as it will be made with defaults."""

import re
import uuid
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from service.errors import InvalidRequest
from service.intake.prepared import Guess, ImportOptions, SiteFacts
from service.store import import_rows, site_rows
from service.store.rows import Connection
from service.store.site_rows import NewSite

_PACKED = (".zip", ".kmz", ".parquet", ".geoparquet")
_HEAD_BYTES = 1 << 20
_OWN_ID = re.compile(rb"(tree|stem|reading|area|target)_id")


@dataclass(frozen=True)
class Ground:
    """A site by its terms; ``fid`` is None while it is still to be made."""

    terms: NewSite
    site_id: str
    fid: int | None = None
    is_seen: bool = False  # False also for one that an import which did not end has begun
    becomes_local: bool = False

    def guesses(self) -> list[Guess]:
        """Return what was assumed about the site."""
        if self.is_seen:
            why = "--crs local was given, and nothing of the site has a position on earth yet"
            return [Guess("frame", "local", why, 1.0)] if self.becomes_local else []
        why = "the site was not there and was made with defaults; all can be changed before measuring starts"
        return [
            Guess("site", self.terms.slug, why, 1.0),
            Guess("time zone", self.terms.time_zone, "the default of a new site", 0.5),
            Guess("breast height", f"{self.terms.breast_height_m:.2f} m", "the default of a new site", 0.5),
            Guess("units", self.terms.units, "the default of a new site", 0.5),
            Guess(
                "frame",
                self.terms.frame,
                "--crs local was given" if self.terms.frame == "local" else "the default of a new site",
                1.0 if self.terms.frame == "local" else 0.9,
            ),
        ]


def ground_of(conn: Connection, slug: str, options: ImportOptions) -> Ground:
    """Return the site that is imported into.

    Raises
    ------
    InvalidRequest
        If the slug cannot be one, or local metres are to go where positions on earth are.
    """
    local = (options.crs or "").strip().lower() == "local"
    row = site_rows.row_of(conn, slug)
    if row is None:
        terms = NewSite(slug, frame="local" if local else "earth")
        terms.require_usable()
        return Ground(terms, str(uuid.uuid4()))
    terms = NewSite(
        slug, row.name, row.country, row.breast_height_m, row.units, row.time_zone, row.frame,
        bool(row.invented),
    )  # fmt: skip
    if not row.change_no:
        return Ground(replace(terms, frame="local" if local else "earth"), row.id, row.fid)
    becomes_local = local and row.frame == "earth"
    if becomes_local and site_rows.has_ground(conn, row):
        raise InvalidRequest(
            f"The site {slug} has positions on earth, and --crs local means metres without a place on earth. "
            "Give the file's reference system as --crs EPSG:n, or import it into a site of its own."
        )
    frame = replace(terms, frame="local") if becomes_local else terms
    return Ground(frame, row.id, row.fid, is_seen=True, becomes_local=becomes_local)


def facts_of(conn: Connection, path: Path, ground: Ground) -> SiteFacts:
    """Return what is known of the site when a file is read."""
    today = datetime.now(ZoneInfo(ground.terms.time_zone)).date().isoformat()
    row = site_rows.row_of(conn, ground.terms.slug) if ground.is_seen else None
    if row is None:
        return SiteFacts(ground.terms.frame, None, today, ground.terms.breast_height_m)
    own = import_rows.own_ids(conn, row.fid) if _may_carry_own_ids(path) else frozenset[str]()
    box = site_rows.box_of(conn, row)
    return SiteFacts(ground.terms.frame, box, today, ground.terms.breast_height_m, own)


def _may_carry_own_ids(path: Path) -> bool:
    """Whether one of our id columns is named at the beginning of a file, in whatever encoding, or packed."""
    if path.suffix.casefold() in _PACKED:
        return True
    try:
        with path.open("rb") as file:
            return _OWN_ID.search(file.read(_HEAD_BYTES).replace(b"\0", b"")) is not None
    except OSError:
        return False
