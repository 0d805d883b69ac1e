"""Areas and targets of a file: deciding on them by the same rules as trees, and their rows."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

import shapely

from service.intake.comparing import Groups, same
from service.intake.content import as_text, from_text
from service.intake.decisions import Decision, Here, Revision, same_key_question
from service.intake.identity import Keyed
from service.intake.prepared import PreparedShape
from service.store import schema
from service.store.rows import Table

GROUPS = ("name", "kind", "use", "outline", "keeper", "typed_area_ha", "external_id", "kept")
_SILENT = {"kind": "other", "name": ""}  # what a file says that says nothing
_NOT_LEAVING = ("external_id", "kept")  # our layers do not have them: a file of ours says nothing of them


def shape_content(shape: PreparedShape) -> dict[str, Any]:
    """Return what a row says of its area or target, the outline by its digest."""
    said = {group: getattr(shape, group) for group in GROUPS if group != "outline"}
    said["outline"] = _digest(shape.wkb)
    if shape.questions:
        said["asked"] = [(question.what, question.column) for question in shape.questions]
    return said


def look_at_shapes(rows: Iterable[Keyed], here: Here) -> tuple[list[Decision], list[Decision]]:
    """Return a decision for each row, and those among them that have to be compared with what is here."""
    decisions, to_compare = [], []
    for keyed in rows:
        row = keyed.row
        assert isinstance(row, PreparedShape)
        if row.refused is not None:
            decisions.append(Decision(keyed, "refused"))
            continue
        text = as_text(shape_content(row))
        known = here.keys.get(keyed.key)
        decision = Decision(keyed, "already_there", content=text)
        decisions.append(decision)
        if known is not None and known.content == text:
            decision.content = None
        elif known is None and keyed.own is None:
            _take_new(decision, row)
        else:
            to_compare.append(decision)
    return decisions, to_compare


def compare_shape(decision: Decision, here: Here) -> None:
    """Decide on a row whose key is known and says something else than at its last import."""
    keyed, row = decision.keyed, decision.keyed.row
    assert isinstance(row, PreparedShape) and decision.content is not None
    record = here.records.get(keyed.record_id)
    if record is None:
        _take_new(decision, row)
        return
    said, known = from_text(decision.content), here.keys.get(keyed.key)
    before = from_text(known.content) if known else _groups_here(record)
    changed = {
        group: said[group]
        for group in GROUPS
        if not same(group, said[group], before.get(group), strictly=True)
        and (known is not None or said[group] not in (None, _SILENT.get(group, "")))
        and (keyed.own is None or group not in _NOT_LEAVING or said[group])
    }
    for earlier in here.said_before.get(keyed.record_id, ()):
        past = _groups_here(earlier)
        changed = {g: v for g, v in changed.items() if not same(g, v, past.get(g), strictly=True)}
    decision.content = None
    if not changed:
        return
    decision.revision = Revision(changed, before)
    taken, decision.proposed = merge_shape(decision, record)
    decision.revision.is_taken = bool(taken)
    if not taken and not decision.proposed:
        decision.revision = None
        return
    asked = {tuple(q) for q in before.get("asked", ())}
    decision.questions = [q for q in row.questions if (q.what, q.column) not in asked]
    decision.content = as_text({**before, **said})
    decision.outcome = "questioned" if decision.questions or decision.proposed else "taken"


def merge_shape(decision: Decision, record: Mapping[str, Any]) -> tuple[Groups, Groups]:
    """Return what of a revision is taken and what is proposed, against the record as it is now."""
    assert decision.revision is not None
    here, before = _groups_here(record), decision.revision.before
    taken: Groups = {}
    proposed: Groups = {}
    for group, value in decision.revision.changed.items():
        if not same(group, value, here.get(group), strictly=True):
            untouched = same(group, here.get(group), before.get(group), strictly=True)
            (taken if untouched and not record["void"] else proposed)[group] = value
    return taken, proposed


def shape_row(shape: PreparedShape, here: Here, layer_name: str) -> tuple[Table, tuple[Any, ...]]:
    """Return the table of a shape and its cells after the version and void flag."""
    kept = json.dumps(shape.kept, ensure_ascii=False) if shape.kept else None
    if here.layer == "targets":
        return schema.target, (
            layer_name, shape.name, shape.kind, shape.use, shape.wkb, shape.external_id, kept
        )  # fmt: skip
    place_id = here.place_id(here.place or None)
    source = "file" if shape.typed_area_ha is not None else None
    return schema.area, (
        layer_name, shape.name, shape.kind, shape.use, place_id, shape.keeper, shape.wkb,
        shape.typed_area_ha, source, shape.external_id, kept,
    )  # fmt: skip


def shape_values(taken: Groups, shape: PreparedShape, table: Table) -> dict[str, Any]:
    """Return the columns of a new version."""
    values = {group: value for group, value in taken.items() if group in table.c}
    if "outline" in taken:
        values["wkb"] = shape.wkb
    if "kept" in taken:
        values["kept"] = json.dumps(shape.kept, ensure_ascii=False) if shape.kept else None
    return values


def _take_new(decision: Decision, row: PreparedShape) -> None:
    decision.is_new = True
    decision.questions = [*row.questions, *same_key_question(decision.keyed)]
    decision.outcome = "questioned" if decision.questions else "taken"


def _groups_here(record: Mapping[str, Any]) -> Groups:
    here = {group: record.get(group) for group in GROUPS if group not in ("outline", "kept")}
    wkb = record["wkb"]
    here["outline"] = _digest(bytes.fromhex(wkb) if isinstance(wkb, str) else wkb)
    here["kept"] = json.loads(record["kept"]) if record["kept"] else {}
    return here


def _digest(wkb: bytes | None) -> str | None:
    """Return a digest of an outline: the same wherever its rings begin, and for a lone part of many."""
    if wkb is None:
        return None
    shape = shapely.from_wkb(wkb)
    if shape.geom_type.startswith("Multi") and len(shape.geoms) == 1:
        shape = shape.geoms[0]
    plain = shapely.to_wkb(shapely.normalize(shape), output_dimension=2, byte_order=1)
    return hashlib.sha1(plain, usedforsecurity=False).hexdigest()
