"""Taking a prepared file into a site: decide, write, close, report."""

from typing import Any

from service.actors import Actor
from service.errors import ImportRunning
from service.intake.building import Writer
from service.intake.import_site import Ground
from service.intake.planning import Plan, plan_import
from service.intake.prepared import Prepared
from service.intake.report import ImportReport, columns_of, counted, first_rows, records_of
from service.intake.side_file import write_side_file
from service.intake.writing import Batch, Progress
from service.store import changes, site_rows
from service.store.changes import OpenImport
from service.store.engine import Store

SUBJECTS = {"trees": "tree", "areas": "area", "targets": "target"}


def take(
    store: Store,
    prepared: Prepared,
    ground: Ground,
    place: str,
    known_ids: frozenset[str],
    actor: Actor,
    *,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> ImportReport:
    """Take a prepared file into a site and return what became of each row.

    ``place`` is the NAME of ``--place`` or empty; ``known_ids`` are the UUIDs known here. A run that ended
    half-way shows nothing; the same call goes on where it stopped. With ``dry_run`` nothing is written.

    Raises
    ------
    ImportRunning
        If another import into the site is under way, or the same one was started once more.
    StoreUnavailable
        If the store cannot be read or written.
    """

    def plan_now() -> tuple[Plan, int | None]:
        with store.read() as conn:
            last = None if ground.fid is None else changes.last_import(conn, ground.fid)
            return plan_import(conn, ground.fid, ground.site_id, prepared, place, known_ids), last

    plan, last = plan_now()
    report = _report(prepared, ground, plan)
    report.dry_run = dry_run
    if dry_run:
        report.first_rows = first_rows(plan.decisions)
        return report
    if not plan.writes:
        report.side_file = write_side_file(store, prepared.path.name, plan.decisions)
        return report
    mine = _open(store, prepared, ground, last, actor)
    if mine is None:  # an import was closed since the plan was made
        return take(store, prepared, ground, place, known_ids, actor, progress=progress)
    writer = Writer(
        mine.site_fid, mine.fid, actor.handle, mine.at, prepared.path.name, prepared.layer_name,
        SUBJECTS[prepared.layer],
    )  # fmt: skip
    batch = Batch(store, mine, writer, plan)
    batch.write_all(progress)
    side_file = write_side_file(store, prepared.path.name, plan.decisions)

    def summary() -> dict[str, Any]:
        nonlocal report
        report = _report(prepared, ground, plan)
        report.side_file = side_file
        return report.to_json()

    change = batch.close(ground.terms.frame if not ground.is_seen or ground.becomes_local else None, summary)
    report.change_no = change.change_no
    return report


def _open(
    store: Store, prepared: Prepared, ground: Ground, last: int | None, actor: Actor
) -> OpenImport | None:
    """Open the change of this import, the site with it; None when an import was closed since ``last``."""
    if ground.fid is not None:
        _erase_stale(store, ground.fid, prepared.file_hash)
    with store.write() as conn:
        row = site_rows.row_of(conn, ground.terms.slug)
        if row is None:
            row = site_rows.add_site(conn, ground.terms, ground.site_id)
        changes.hold(conn, row.fid)
        if row.id != ground.site_id:
            raise ImportRunning(prepared.path.name)
        if ground.fid is not None and changes.last_import(conn, ground.fid) != last:
            return None
        return changes.open_import(conn, row.fid, actor, prepared.path.name, prepared.file_hash)


def _erase_stale(store: Store, site_fid: int, file_hash: str) -> None:
    with store.read() as conn:
        stale = changes.stale_imports(conn, site_fid, file_hash)
    for abandoned in stale:
        left: OpenImport | None = abandoned
        while left is not None:
            with store.write() as conn:
                left = changes.erase_some(conn, left)


def _report(prepared: Prepared, ground: Ground, plan: Plan) -> ImportReport:
    return ImportReport(
        site=ground.terms.slug,
        file_name=prepared.path.name,
        layer=prepared.layer,
        counts=counted(plan.decisions),
        records=records_of(plan.decisions, plan.here),
        columns=columns_of(prepared),
        guesses=[*ground.guesses(), *prepared.guesses],
        not_in_file=plan.not_in_file,
    )
