"""A site out of a snapshot: recognised by its table, checked whole, written with ids, versions and times.

References
----------
OGC GeoPackage Encoding Standard 1.3, 12-128r17, clause 2.4 (attributes).
"""

import hashlib
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.actors import Actor
from service.errors import HereAlready, InvalidRequest, Unreadable
from service.file_box import FileBox
from service.intake.geopackage import base_tables, opened
from service.intake.prepared import Guess
from service.intake.record_cells import RowCheck
from service.intake.report import KINDS, ImportReport
from service.intake.writing import Progress
from service.outlets.record_tables import ABOUT, FILES, FORMAT, FORMAT_VERSION, PREFIX
from service.store import record_log, restoring
from service.store.engine import Store
from service.store.restoring import Restored
from service.store.site_rows import NewSite

MOST_SECONDS = 3600.0
MOST_PICTURE_BYTES = 128 << 20
AT_ONCE = 2000
_TERMS = ("slug", "name", "country", "breast_height_m", "units", "time_zone", "frame")
_SQLITE = b"SQLite format 3\0"


@dataclass(frozen=True)
class _Snapshot:
    """An open snapshot: its tables, and the terms of its site."""

    file: sqlite3.Connection
    tables: set[str]
    site: dict[str, Any]
    about: dict[str, Any]

    def rows(self, name: str) -> Iterator[tuple[Any, ...]]:
        """Return the records of a kind, in order, each checked."""
        columns = record_log.columns_of(name)
        if PREFIX + name not in self.tables:
            return
        held = _columns(self.file, PREFIX + name)
        _require_known(name, held)
        check, before = RowCheck(name, columns, int(self.site["change_no"])), 0
        chosen = ", ".join(f'"{column}"' if column in held else "NULL" for column in columns)
        for row in _stream(self.file, f'SELECT {chosen} FROM "{PREFIX}{name}" ORDER BY "{columns[0]}"'):
            check(row)
            if row[0] <= before or (name == "change" and row[0] != before + 1):
                check.refuse(row[0], columns[0], "is not the number that follows")
            before = row[0]
            yield row
        if name == "change" and before != self.site["change_no"]:
            check.refuse(before, columns[0], "is not the last one of the site")


def is_snapshot(path: Path) -> bool:
    """Whether a file is a snapshot of a whole site, by its table."""
    try:
        with path.open("rb") as file:
            if file.read(16) != _SQLITE:
                return False
        with opened(path) as file:
            return ABOUT in base_tables(file) and PREFIX + "site" in base_tables(file)
    except (OSError, sqlite3.Error):
        return False


def site_of(path: Path) -> tuple[str, str]:
    """Return the id and the short name of the site that a snapshot is of.

    Raises
    ------
    Unreadable
        If it is damaged, or written by a newer version of the program.
    """
    with _reading(path, None) as snapshot:
        return snapshot.site["id"], snapshot.site["slug"]


def restore(
    store: Store,
    path: Path,
    slug: str | None,
    actor: Actor,
    box: FileBox | None,
    *,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> ImportReport:
    """Bring the site of a snapshot into a store that does not have it; nobody sees it before it is whole.

    Parameters
    ----------
    store : Store
    path : Path
    slug : str or None
        The short name that the site is to have here; None for its own.
    actor : Actor
    box : FileBox or None
        Where the pictures of plans are kept; None leaves them out.
    dry_run : bool
        Only check the file.
    progress : callable, optional
        Called with the records done and all records.

    Raises
    ------
    Unreadable
        If anything in the file cannot be what it says; every record is checked before the first is written.
    HereAlready
        If the site, another one of its short name, or one of its records elsewhere, is here.
    ImportRunning
        If another process is bringing it in.
    NotPermitted
        If the actor may not manage.
    StoreUnavailable
        If the store is full or locked; the same call begins anew.
    """
    actor.require("manage")
    with _reading(path, slug) as snapshot:
        restoring.require_not_here(store, snapshot.site)
        counts, numbers = _checked(snapshot)
        said = Restored(snapshot.site, numbers, path.name, _hash(path))
        without = 0
        if not dry_run:
            without = _keep_pictures(snapshot, box)
            _write(store, snapshot, said, sum(counts.values()), progress)
        return _report(snapshot, path, counts, dry_run, without)


def _write(store: Store, snapshot: _Snapshot, said: Restored, total: int, progress: Progress | None) -> None:
    changes = record_log.without_paths(snapshot.rows("change"))
    first = dict(zip(record_log.columns_of("change"), next(changes), strict=True))
    made = restoring.begin(store, said, first)
    try:
        done = 0
        for name in record_log.TABLES:
            rows = changes if name == "change" else snapshot.rows(name)
            for written in made.write(name, rows):
                done += written
                if progress is not None:
                    progress(done, total)
        made.show()
    except (InvalidRequest, HereAlready):
        made.abandon()
        raise


@contextmanager
def _reading(path: Path, slug: str | None) -> Iterator[_Snapshot]:
    try:
        with opened(path, MOST_SECONDS) as file:
            file.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MOST_PICTURE_BYTES)
            file.text_factory = str
            tables = base_tables(file)
            about = _one(file, ABOUT)
            _require_readable(about)
            site = dict.fromkeys(record_log.columns_of("site")) | _one(file, PREFIX + "site")
            site.pop("fid", None)
            _require_site(site, slug)
            yield _Snapshot(file, tables, {**site, "slug": slug or site["slug"]}, about)
    except (sqlite3.Error, UnicodeDecodeError, OverflowError) as wrong:
        raise Unreadable(f"{path.name} is a damaged snapshot ({wrong}); write it again.") from wrong


def _one(file: sqlite3.Connection, table: str) -> dict[str, Any]:
    names = _columns(file, table)
    rows = file.execute(f'SELECT * FROM "{table}" LIMIT 2').fetchall()
    if len(rows) != 1:
        raise Unreadable(f"The snapshot's table {table} has not one row; write the snapshot again.")
    return dict(zip(names, rows[0], strict=True))


def _columns(file: sqlite3.Connection, table: str) -> list[str]:
    return [row[1] for row in file.execute(f'PRAGMA table_info("{table}")')]


def _stream(file: sqlite3.Connection, query: str) -> Iterator[tuple[Any, ...]]:
    cursor = file.execute(query)
    while rows := cursor.fetchmany(AT_ONCE):
        yield from rows


def _require_readable(about: dict[str, Any]) -> None:
    if about.get("format") != FORMAT:
        raise Unreadable("This GeoPackage is no snapshot of a site; name the layer to bring in.")
    if about.get("format_version") != FORMAT_VERSION:
        raise Unreadable(
            "A newer version of this program wrote the snapshot. Install that version to read it."
        )


def _require_known(name: str, held: Sequence[str]) -> None:
    strange = sorted(set(held) - set(record_log.columns_of(name)))
    if strange:
        raise Unreadable(
            f"The snapshot says something of {name} that this version does not know ({strange[0][:40]}). "
            "Install the version that wrote it."
        )


def _require_site(site: dict[str, Any], slug: str | None) -> None:
    columns = record_log.columns_of("site")
    _require_known("site", list(site))
    RowCheck("site", columns, 2**53 - 1)([site[column] for column in columns])
    terms = {name: site[name] for name in _TERMS}
    NewSite(**{**terms, "slug": slug or site["slug"]}).require_usable()


def _checked(snapshot: _Snapshot) -> tuple[dict[str, int], dict[str, tuple[int, int]]]:
    """Read every record once; return how many there are of each kind, and their numbers."""
    unknown = {name for name in snapshot.tables if name.startswith(PREFIX)} - {
        FILES, PREFIX + "site", *(PREFIX + name for name in record_log.TABLES)
    }  # fmt: skip
    if unknown:
        raise Unreadable(
            f"The snapshot has records that this version does not know ({sorted(unknown)[0][:40]}). "
            "Install the version that wrote it."
        )
    counts, numbers = {}, {}
    for name in record_log.TABLES:
        count, lowest, highest = 0, 0, 0
        for row in snapshot.rows(name):
            count, highest, lowest = count + 1, row[0], lowest or row[0]
        counts[name] = count
        if count:
            numbers[name] = (lowest, highest)
    return counts, numbers


def _keep_pictures(snapshot: _Snapshot, box: FileBox | None) -> int:
    """Keep the pictures of plans and phones; return how many are left without theirs."""
    named = {
        row[record_log.columns_of(kind).index("file_hash")]
        for kind in ("plan_image", "picture")
        for row in snapshot.rows(kind)
    }
    if box is not None and FILES in snapshot.tables:
        for name, content in _stream(snapshot.file, f'SELECT hash, content FROM "{FILES}"'):
            if name in named and type(content) is bytes and hashlib.sha256(content).hexdigest() == name:
                box.put(content)
                named.discard(name)
    return len(named)


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _report(
    snapshot: _Snapshot, path: Path, counts: dict[str, int], dry_run: bool, without: int
) -> ImportReport:
    slug, total = snapshot.site["slug"], sum(counts.values())
    why = f"the file is a snapshot of it, at change {snapshot.site['change_no']}"
    guesses = [Guess("site", slug, why, 1.0)]
    if without:
        guesses.append(Guess("pictures", str(without), "pictures that are named and not in the file", 1.0))
    return ImportReport(
        site=slug,
        file_name=path.name,
        layer="site",
        counts={"taken": total, "already_there": 0, "questioned": 0, "refused": 0},
        records={kind: {"new": counts.get(kind.removesuffix("s"), 0), "changed": 0} for kind in KINDS},
        columns={"understood": {}, "kept": [], "left_out": {}},
        guesses=guesses,
        not_in_file=[],
        dry_run=dry_run,
        change_no=None if dry_run else int(snapshot.site["change_no"]),
    )
