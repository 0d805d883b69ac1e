"""From a prepared file and what the store knows to a decision for each row."""

from collections.abc import Iterable
from dataclasses import dataclass

from service.intake import deciding, shape_deciding
from service.intake.comparing import groups_here
from service.intake.content import getters, said_groups
from service.intake.decisions import Decision, Here
from service.intake.identity import Keyed, Namer, keyed_rows
from service.intake.key_rules import position_words
from service.intake.prepared import Prepared, Question
from service.store import import_rows, schema
from service.store.rows import Connection

SHAPE_TABLES = {"areas": schema.area, "targets": schema.target}


@dataclass
class Plan:
    """Decisions in the order of the file, what is here, and the keys of earlier imports not in the file."""

    decisions: list[Decision]
    here: Here
    not_in_file: list[str]

    @property
    def writes(self) -> bool:
        """Whether anything is to be written."""
        return any(decision.content is not None for decision in self.decisions)


def plan_import(
    conn: Connection,
    site_fid: int | None,
    site_id: str,
    prepared: Prepared,
    place: str,
    known_ids: frozenset[str],
) -> Plan:
    """Return what is to become of each row of a file; ``site_fid`` is None for a site still to be made."""
    here = Here(Namer(site_id), prepared.layer, place, {})
    if site_fid is not None:
        here.keys = import_rows.known_keys(conn, site_fid, prepared.layer, place)
        here.places = import_rows.place_names(conn, site_fid)
        here.void_places = import_rows.void_places(conn, site_fid)
    keyed = keyed_rows(prepared, place, here.name, known_ids, here.keys)
    if prepared.layer in SHAPE_TABLES:
        decisions, to_compare = shape_deciding.look_at_shapes(keyed, here)
        compare = shape_deciding.compare_shape
    else:
        decisions, to_compare = deciding.first_look(keyed, here, getters(said_groups(prepared)))
        compare = deciding.compare
    if site_fid is not None:
        _gather(conn, site_fid, here, to_compare)
    for decision in to_compare:
        compare(decision, here)
    if prepared.layer not in SHAPE_TABLES:
        _after_trees(conn, site_fid, here, decisions)
    return Plan(decisions, here, _absent(prepared, keyed, here))


def _gather(conn: Connection, site_fid: int, here: Here, to_compare: list[Decision]) -> None:
    """Read the records that rows have to be compared with."""
    ids = {
        own: [d.keyed.record_id for d in to_compare if d.keyed.own == own]
        for own in {d.keyed.own for d in to_compare}
    }
    table = SHAPE_TABLES.get(here.layer)
    if table is not None:
        found = import_rows.current(conn, table, site_fid, [id for part in ids.values() for id in part])
        here.records = {id: dict(row._mapping) for id, row in found.items()}
        own = [found[id].fid for word in ids if word for id in ids[word] if id in found]
        here.said_before.update(import_rows.former_contents(conn, table, own))
        return
    for word, tables in {
        None: (schema.place, schema.tree),
        "tree_id": (schema.tree,),
        "stem_id": (schema.stem,),
        "reading_id": (schema.reading,),
    }.items():
        for table in tables:
            found = import_rows.current(conn, table, site_fid, ids.get(word, ()))
            here.records.update((id, dict(row._mapping)) for id, row in found.items())
    here.stems = import_rows.stems_of(conn, site_fid, [*ids.get(None, ()), *ids.get("tree_id", ())])
    _gather_past(conn, site_fid, here, ids.get("tree_id", []))


def _gather_past(conn: Connection, site_fid: int, here: Here, tree_ids: list[str]) -> None:
    """Read what was said before of trees that a file names by our ids: an old export changes nothing back."""
    names = here.place_names()
    fids = [here.records[id]["fid"] for id in tree_ids if id in here.records]
    for id, past in import_rows.former_contents(conn, schema.tree, fids).items():
        here.said_before[id] = [groups_here(content, names) for content in past]
    for id, statuses in import_rows.statuses_of(conn, site_fid, tree_ids).items():
        here.said_before.setdefault(id, []).extend({"status": [status, None]} for status in statuses)


def _after_trees(conn: Connection, site_fid: int | None, here: Here, decisions: list[Decision]) -> None:
    tagged = any(d.is_new or (d.revision and "tag" in d.revision.changed) for d in decisions)
    if site_fid is not None and tagged:
        here.standing = import_rows.standing_tags(conn, site_fid)
    deciding.question_tags(decisions, here)
    if site_fid is not None and any(d.is_new for d in decisions):
        standing = import_rows.standing_positions(conn, site_fid)
        here.standing_at = {position_words(*row) for row in standing}
        deciding.question_positions(decisions, here)
    if site_fid is not None:
        _question_forks(conn, site_fid, decisions)


def _question_forks(conn: Connection, site_fid: int, decisions: Iterable[Decision]) -> None:
    correcting = [(d, new, new.supersedes) for d in decisions for new in d.readings if new.supersedes]
    corrected = import_rows.superseded(conn, site_fid, [old for _, _, old in correcting])
    for decision, new, old in correcting:
        if old in corrected:
            decision.questions.append(
                Question(
                    "corrected here and there",
                    "The list has another value than before, and the reading was corrected here too. Both "
                    "corrections are kept: void the wrong one.",
                    new.said.column,
                )
            )
            decision.outcome = "questioned"


def _absent(prepared: Prepared, keyed: Iterable[Keyed], here: Here) -> list[str]:
    """Return the keys of earlier imports that the file does not have: they stay as they are.

    A row with our own ids stands for whatever key its record came by.
    """
    keyed = list(keyed)
    present = {row.key for row in keyed}
    own = {id for each in keyed for id in each.row.own_ids.values()}
    with_it = f"{prepared.layer_name}: " if prepared.layer in SHAPE_TABLES else ""
    return [
        key
        for key, known in here.keys.items()
        if key not in present and key.startswith(with_it) and known.record_id not in own
    ]
