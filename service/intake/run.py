"""Importing a file into a site."""

from pathlib import Path

from service.actors import Actor
from service.intake.identity import place_option
from service.intake.import_site import facts_of, ground_of
from service.intake.prepared import ImportOptions
from service.intake.report import ImportReport
from service.intake.taking import take
from service.intake.understand import prepare
from service.intake.writing import Progress
from service.store.engine import Store


def import_file(
    store: Store,
    path: Path,
    site_slug: str,
    options: ImportOptions,
    actor: Actor,
    *,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> ImportReport:
    """Import a file into a site, which is made when it is not there, and return what became of each row.

    ``progress`` is called with the rows done and all rows. A run that ended half-way shows nothing; the same
    call goes on where it stopped. With ``dry_run`` nothing is written.

    Raises
    ------
    Ask
        If two readings of the file are about equally likely.
    InvalidRequest
        If the file or an option cannot be used.
    ImportRunning
        If another import into the site is under way.
    NotPermitted
        If the actor may not import.
    StoreUnavailable
        If the store cannot be read or written.
    """
    actor.require("manage")
    with store.read() as conn:
        ground = ground_of(conn, site_slug, options)
        facts = facts_of(conn, path, ground)
    prepared = prepare(path, options, facts)
    return take(
        store,
        prepared,
        ground,
        place_option(prepared, options),
        facts.own_ids,
        actor,
        dry_run=dry_run,
        progress=progress,
    )
