"""Importing a file into a site."""

from pathlib import Path

from service.actors import Actor
from service.errors import InvalidRequest
from service.file_box import FileBox
from service.intake.identity import place_option
from service.intake.import_site import facts_of, ground_of
from service.intake.prepared import ImportOptions
from service.intake.report import ImportReport
from service.intake.snapshot_in import is_snapshot, restore
from service.intake.taking import take
from service.intake.understand import prepare
from service.intake.writing import Progress
from service.plan_images import file_box
from service.store.engine import Store


def import_file(
    store: Store,
    path: Path,
    site_slug: str | None,
    options: ImportOptions,
    actor: Actor,
    *,
    dry_run: bool = False,
    progress: Progress | None = None,
    box: FileBox | None = None,
) -> ImportReport:
    """Import a file into a site, which is made when it is not there, and return what became of each row.

    A snapshot of a whole site brings that site back with everything that was said of it, unless a layer of it
    is named in the options; ``site_slug`` may then be None for its own short name, and ``box`` keeps the
    pictures of its plans (by default beside a store that is a file).

    ``progress`` is called with the rows done and all rows. A run that ended half-way shows nothing; the same
    call goes on where it stopped. With ``dry_run`` nothing is written.

    Raises
    ------
    Ask
        If two readings of the file are about equally likely.
    InvalidRequest
        If the file or an option cannot be used.
    HereAlready
        If the file is a snapshot of a site that is here.
    ImportRunning
        If another import into the site is under way.
    NotPermitted
        If the actor may not import.
    StoreUnavailable
        If the store cannot be read or written.
    """
    actor.require("manage")
    if options.layer is None and is_snapshot(path):
        kept = box or (file_box(store, store.folder) if store.folder else None)
        return restore(store, path, site_slug, actor, kept, dry_run=dry_run, progress=progress)
    if site_slug is None:
        raise InvalidRequest([("--site", "Name the ground that the file belongs to.")])
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
