"""Deciding on rows of trees: which are new, which are known, and what of a known one is new."""

from collections.abc import Iterable, Mapping
from typing import Any

from service.intake.comparing import (
    Groups,
    changed_there,
    groups_here,
    is_other_tree,
    split,
)
from service.intake.content import (
    IDENTIFYING,
    Getters,
    as_text,
    cells_of,
    content_of,
    from_text,
)
from service.intake.decisions import Decision, Here, New, Revision, same_key_question
from service.intake.identity import UNDATED, Keyed
from service.intake.key_rules import by_position, has_position
from service.intake.own_readings import HEADS, compare_reading
from service.intake.prepared import PreparedRow, Question

SET_ASIDE = "set_aside"  # content that was questioned and changed nothing: known at the next run


def first_look(rows: Iterable[Keyed], here: Here, groups: Getters) -> tuple[list[Decision], list[Decision]]:
    """Return a decision for each row, and those among them that have to be compared with what is here."""
    decisions, to_compare = [], []
    for keyed in rows:
        row = keyed.row
        assert isinstance(row, PreparedRow)
        if row.refused is not None:
            decisions.append(Decision(keyed, "refused"))
            continue
        text = as_text(content_of(row, groups))
        known = here.keys.get(keyed.key)
        decision = Decision(keyed, "already_there", content=text)
        decisions.append(decision)
        if known is not None and known.content == text:
            decision.content = None
        elif known is None and keyed.own is None:
            _take_new(decision, row, here)
        else:
            to_compare.append(decision)
    return decisions, to_compare


def compare(decision: Decision, here: Here) -> None:
    """Decide on a row whose key is known and says something else than at its last import."""
    keyed, row = decision.keyed, decision.keyed.row
    assert isinstance(row, PreparedRow) and decision.content is not None
    said = from_text(decision.content)
    known = here.keys.get(keyed.key)
    record = here.records.get(keyed.record_id)
    if record is None:
        _take_new(decision, row, here)
        return
    if keyed.own == "reading_id":
        compare_reading(decision, row, record, known.content if known else None, here)
        return
    before = from_text(known.content) if known else _synthesised(keyed, said, record, here)
    if before.get(SET_ASIDE) == decision.content:
        decision.content = None
        return
    if _put_aside(decision, said, before):
        return
    merged = {**before, **said}
    merged.pop(SET_ASIDE, None)
    if keyed.own in (None, "tree_id"):
        _compare_groups(decision, said, before, record, here)
    _compare_said(decision, row, said, before, merged, here)
    _settle(decision, row, before, merged, known.content if known else None)


def question_tags(decisions: Iterable[Decision], here: Here) -> None:
    """Question trees whose tag another standing tree of the same place has.

    Tags of different places may repeat: lists number the trees of a street or ground from 1.
    """
    for decision in decisions:
        row = decision.keyed.row
        if not isinstance(row, PreparedRow) or row.tag is None or row.place_kind or row.status == "removed":
            continue
        if decision.outcome == "refused":
            continue
        tag = (here.place_id(row.place), row.tag)
        changed = decision.revision.changed if decision.revision else {}
        fresh = decision.is_new and decision.keyed.number == 1
        if tag in here.standing and (fresh or "tag" in changed or "place" in changed):
            where = f" in {row.place}" if row.place else ""
            decision.questions.append(
                Question(
                    "same tag",
                    f"Another standing tree{where} has the tag {row.tag}. Both are kept: give one of them "
                    "another tag, or cross out one if they are the same tree.",
                    "tag",
                )
            )
            decision.outcome = "questioned"
        here.standing.add(tag)


def question_positions(decisions: Iterable[Decision], here: Here) -> None:
    """Question new trees where one of the same name stands already: the list may have been taken before."""
    for decision in decisions:
        row = decision.keyed.row
        if not decision.is_new or decision.keyed.number > 1 or not isinstance(row, PreparedRow):
            continue
        if row.place_kind or row.status == "removed" or not has_position(row):
            continue
        if by_position(row) in here.standing_at:
            decision.questions.append(
                Question(
                    "same position",
                    "A tree of this name stands at this very position already. Both are kept: cross out one "
                    "if they are the same tree.",
                )
            )
            decision.outcome = "questioned"


def merge_with(decision: Decision, record: Mapping[str, Any], here: Here) -> tuple[Groups, Groups]:
    """Return what of a revision is taken and what is proposed, against the record as it is now."""
    assert decision.revision is not None
    return split(
        decision.revision.changed,
        decision.revision.before,
        groups_here(record, here.place_names()),
        void=bool(record["void"]),
    )


def _take_new(decision: Decision, row: PreparedRow, here: Here) -> None:
    keyed = decision.keyed
    decision.is_new = True
    decision.questions = [*row.questions, *same_key_question(keyed)]
    if row.place_kind is None:
        numbers = range(1, max([row.stems, *(reading.stem_number for reading in row.readings)]) + 1)
        decision.stem_ids = {number: here.uid(keyed.key, str(number)) for number in numbers}
        decision.stems = list(decision.stem_ids.items())
        decision.readings = [New(r, _reading_id(r, keyed.key, here)) for r in row.readings]
    decision.observations = [New(o, _observation_id(o, keyed.key, here)) for o in row.observations]
    decision.statuses = [New(s, _status_id(s, keyed.key, here)) for s in row.statuses]
    decision.outcome = "questioned" if decision.questions else "taken"


def _put_aside(decision: Decision, said: Groups, before: Groups) -> bool:
    """Question a row that can hardly be what its key is known as; it changes nothing."""
    if said.get("place_kind") != before.get("place_kind"):
        question = Question(
            "not the same kind",
            f"The list calls this {said.get('place_kind') or 'a tree'} now, and called it "
            f"{before.get('place_kind') or 'a tree'} before. Nothing was changed: settle it on its page.",
        )
    elif is_other_tree(said, before):
        question = Question(
            "another tree",
            f"The key {decision.keyed.key} is known as another species in another place. Nothing was "
            "changed: if the tree was replaced, give the new one a key of its own; if the list is one of "
            "another part of the ground, import it with --place.",
        )
    else:
        return False
    decision.outcome = "questioned"
    decision.questions = [question]
    decision.proposal = {k: v for k, v in said.items() if k != "asked"}
    decision.content = as_text({**before, SET_ASIDE: decision.content})
    return True


def _compare_groups(
    decision: Decision, said: Groups, before: Groups, record: Mapping[str, Any], here: Here
) -> None:
    changed = changed_there(said, before, own=decision.keyed.own is not None)
    for earlier in here.said_before.get(decision.keyed.record_id, ()):
        changed = {g: v for g, v in changed.items() if changed_there({g: v}, dict(earlier), own=True)}
    if not changed:
        return
    decision.revision = Revision(changed, before)
    taken, decision.proposed = merge_with(decision, record, here)
    decision.revision.is_taken = bool(taken)
    if not taken and not decision.proposed:
        decision.revision = None


def proposal_question(proposed: Groups) -> Question:
    """Return the question that puts a change of the list to a person."""
    return Question(
        "changed here and there",
        f"The list has changed {', '.join(proposed)}, and so did somebody here since its last import. What "
        "is here was kept: accept or decline what the list says.",
    )


def _compare_said(
    decision: Decision, row: PreparedRow, said: Groups, before: Groups, merged: Groups, here: Here
) -> None:
    keyed = decision.keyed
    heads = dict(before.get(HEADS, {}))
    if row.place_kind is None:
        _know_stems(decision, row, here)
        decision.readings = _new_ones("readings", row.readings, _reading_id, keyed, said, before, heads, here)
    decision.observations = _new_ones(
        "observations", row.observations, _observation_id, keyed, said, before, heads, here
    )
    decision.statuses = _new_ones("statuses", row.statuses, _status_id, keyed, said, before, heads, here)
    for kind in IDENTIFYING:
        cells = {**cells_of(kind, before), **cells_of(kind, said)}
        if cells:
            merged[kind] = [[*which, *rest] for which, rest in cells.items()]
    if heads:
        merged[HEADS] = heads


def _know_stems(decision: Decision, row: PreparedRow, here: Here) -> None:
    keyed = decision.keyed
    if keyed.own == "stem_id":
        decision.stem_ids = {reading.stem_number: keyed.record_id for reading in row.readings}
        return
    known = here.stems.get(keyed.record_id, {})
    numbers = {*range(1, row.stems + 1), *(reading.stem_number for reading in row.readings)}
    if keyed.own and not row.readings:
        numbers = set()
    decision.stems = [(n, here.uid(keyed.key, str(n))) for n in sorted(numbers - set(known))]
    decision.stem_ids = {**known, **dict(decision.stems)}


def _new_ones(
    kind: str,
    given: list[Any],
    id_of: Any,
    keyed: Keyed,
    said: Groups,
    before: Groups,
    heads: dict[str, str],
    here: Here,
) -> list[New]:
    """Return what a row says that its key did not say before, superseding where it said another value."""
    now, then = cells_of(kind, said), cells_of(kind, before)
    out = []
    for one, (which, cells) in zip(given, now.items(), strict=True):
        first = id_of(one, keyed.key, here)
        if which not in then:
            out.append(New(one, first))
        elif cells != then[which]:
            old = heads.get(first, first)
            heads[first] = here.name(old, as_text({"said": cells}))
            out.append(New(one, heads[first], old))
    return out


def _settle(
    decision: Decision, row: PreparedRow, before: Groups, merged: Groups, known_text: str | None
) -> None:
    asked = {tuple(q) for q in before.get("asked", ())}
    fresh = [q for q in row.questions if (q.what, q.column) not in asked]
    if not decision.revision and not decision.adds and not decision.questions and not fresh:
        decision.content = None
        return
    decision.questions += fresh
    asked.update((q.what, q.column) for q in row.questions)
    if asked:
        merged["asked"] = sorted(asked, key=str)
    text = as_text(merged)
    decision.content = None if text == known_text else text
    decision.outcome = "questioned" if decision.questions or decision.proposed else "taken"


def _synthesised(keyed: Keyed, said: Groups, record: Mapping[str, Any], here: Here) -> Groups:
    """What a key would have said if the record here had come with it: for rows with our own ids."""
    if keyed.own != "tree_id":
        return {k: v for k, v in said.items() if k not in IDENTIFYING}
    return groups_here(record, here.place_names())


def _reading_id(reading: Any, key: str, here: Here) -> str:
    return here.uid(key, str(reading.stem_number), reading.column, reading.measured_on or UNDATED)


def _observation_id(seen: Any, key: str, here: Here) -> str:
    return here.uid(key, "observation", seen.column, seen.what, seen.observed_on or UNDATED)


def _status_id(status: Any, key: str, here: Here) -> str:
    return here.uid(key, "status", str(status.stem_number), status.happened_on or UNDATED)
