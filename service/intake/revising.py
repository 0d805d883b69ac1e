"""New versions of what is here, drafted from a plan; written when an import is closed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import orjson

from layers.ground import cell
from service.intake import deciding, shape_deciding
from service.intake.building import COLUMNS, Writer, kept_text, question_row
from service.intake.comparing import Groups
from service.intake.content import GROUPS
from service.intake.decisions import Decision, Here
from service.intake.planning import SHAPE_TABLES, Plan
from service.intake.prepared import PreparedRow, PreparedShape
from service.store import changes, rows, schema
from service.store.rows import Connection, Table


@dataclass(frozen=True)
class Drafted:
    """New versions and proposals, good while the site has the change number they were drafted at."""

    change_no: int
    versions: list[rows.Draft]
    questions: list[tuple[Any, ...]]


def draft(conn: Connection, plan: Plan, writer: Writer) -> Drafted:
    """Return the new versions that a plan makes of the records as they are now, and what it proposes.

    The outcome of a row follows: what somebody has changed here since the plan was made is proposed.
    """
    versions, questions = [], []
    for table, decisions in _revised(plan.decisions, plan.here).items():
        found = rows.by_ids(conn, table, writer.site_fid, [d.keyed.record_id for d in decisions])
        revisions = []
        for decision in decisions:
            record = found[decision.keyed.record_id]
            taken, proposed = _merge(decision, record._asdict(), plan.here)
            if taken:
                revisions.append((record, _values(taken, decision, table, plan.here)))
            if proposed:
                decision.outcome = "questioned"
                text = _proposal(_values(proposed, decision, table, plan.here))
                asked = deciding.proposal_question(proposed)
                questions.append(question_row(decision, asked, writer, text))
        versions.append(rows.draft(table, revisions, writer.change_fid))
    return Drafted(changes.last_number(conn, writer.site_fid), versions, questions)


def write(conn: Connection, drafted: Drafted) -> None:
    """Write new versions and proposals."""
    for version in drafted.versions:
        rows.write_draft(conn, version)
    rows.insert_rows(conn, schema.question, COLUMNS[schema.question], drafted.questions)


def _revised(decisions: Iterable[Decision], here: Here) -> dict[Table, list[Decision]]:
    out: dict[Table, list[Decision]] = {}
    for decision in decisions:
        if decision.revision is not None:
            row = decision.keyed.row
            is_place = isinstance(row, PreparedRow) and row.place_kind is not None
            table = SHAPE_TABLES.get(here.layer, schema.place if is_place else schema.tree)
            out.setdefault(table, []).append(decision)
    return out


def _merge(decision: Decision, record: Mapping[str, Any], here: Here) -> tuple[Groups, Groups]:
    assert decision.revision is not None
    if isinstance(decision.keyed.row, PreparedShape):
        taken, proposed = shape_deciding.merge_shape(decision, record)
    else:
        taken, proposed = deciding.merge_with(decision, record, here)
    decision.revision.is_taken, decision.proposed = bool(taken), proposed
    return taken, proposed


def _proposal(values: Mapping[str, Any]) -> str:
    """Return the columns that the file would change, as JSON; bytes as hex."""
    plain = {name: v.hex() if isinstance(v, bytes) else v for name, v in values.items()}
    return orjson.dumps(plain).decode()


def _values(taken: Groups, decision: Decision, table: Table, here: Here) -> dict[str, Any]:
    """Return the columns of a new version from the groups that are taken."""
    row = decision.keyed.row
    if isinstance(row, PreparedShape):
        return shape_deciding.shape_values(taken, row, table)
    values: dict[str, Any] = {}
    for group, value in taken.items():
        if group == "place":
            values["place_id"] = here.place_id(value)
        elif group == "kept":
            values["kept"] = kept_text(value)
        else:
            words = GROUPS[group]
            values.update(zip(words, value if len(words) > 1 else [value], strict=True))
    if "position" in taken:
        values["cell"] = cell(values["lon_deg"], values["lat_deg"])[0]
    return {name: value for name, value in values.items() if name in table.c}
