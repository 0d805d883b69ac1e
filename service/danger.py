"""Dangers seen, and what a manager had done about them: append-only, order-free, exactly once."""

from collections.abc import Sequence
from itertools import chain
from typing import Any

from service.actors import Actor
from service.danger_records import DangerAnswerIn, DangerIn
from service.entry import FINDING, OBSERVATION, Answer, Kind, Part, enter, enter_together, no_question
from service.records import FindingIn, ObservationIn
from service.store import schema
from service.store.engine import Store

REPORT = Kind(schema.danger_report, "tree_id", {"": schema.tree}, "seen_on", no_question, keeps_all=True)
ANSWER = Kind(schema.danger_answer, "report_id", {}, "answered_on", no_question)


def enter_dangers(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take danger reports (``DangerIn`` or what parses as one); answers in their order.

    One of a tree that is not here, or of a day far ahead, is kept and questioned: it stands on top.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    return enter(store, slug, actor, REPORT, DangerIn, items)


def enter_seen(
    store: Store, slug: str, actor: Actor, dangers: Sequence[Any], observations: Sequence[Any]
) -> list[Answer]:
    """Take what was seen of a tree, dangers as reports, as one change; answers, dangers first.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    parts: list[Part] = [(REPORT, DangerIn, dangers), (OBSERVATION, ObservationIn, observations)]
    return list(chain.from_iterable(enter_together(store, slug, actor, parts)))


def answer_dangers(store: Store, slug: str, actor: Actor, items: Sequence[Any]) -> list[Answer]:
    """Take what was done about dangers (``DangerAnswerIn``), before or after their reports; in their order.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    return enter(store, slug, actor, ANSWER, DangerAnswerIn, items)


def enter_finding(
    store: Store, slug: str, actor: Actor, finding: Any, danger_answers: Sequence[Any]
) -> list[Answer]:
    """Take a qualified party's finding with the answers to the dangers that it settles, as one change.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    parts: list[Part] = [(FINDING, FindingIn, [finding]), (ANSWER, DangerAnswerIn, danger_answers)]
    return list(chain.from_iterable(enter_together(store, slug, actor, parts)))
