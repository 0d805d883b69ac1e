"""The table of a site's trees, and the page of one tree."""

from dataclasses import replace
from typing import Any

import pandas as pd
from flask import Blueprint, Response, request

from layers import explaining
from layers.corrections import VOID, corrected
from service.outlets.csv_out import csv_pieces
from service.outlets.held_layer import HeldLayer
from service.outlets.layer_rows import layer_rows
from service.photos import photos_of_tree
from service.view import SiteView
from service.web import (
    closed,
    current,
    danger_fields,
    display,
    frame,
    growth_facts,
    how_facts,
    today,
    tree_facts,
)
from service.web.code_pages import rules_of_tree
from service.web.former_facts import changes_of_tree
from service.web.listing import found_rows, listing

bp = Blueprint("tree_pages", __name__)

SEARCHED = ("tag", "scientific_name", "common_name", "name_as_written", "place", "external_id")
EXACT = ("tag", "place", "status")


@bp.get("/sites/<slug>/trees")
def site_trees(slug: str) -> str:
    """The trees of a site, a page at a time; ``?tag=`` lists those that carry a number."""
    view = current.site_view(slug)
    asked = request.args.to_dict()
    shown = listing(view.trees, asked, searched=SEARCHED, exact=EXACT, default_sort="tag")
    places = sorted({place for place in view.trees["place"] if place})
    return frame.site_page(
        "trees.html",
        view,
        "trees",
        list=shown,
        places=places[:500],
        reaches=view.reaches,
        closed=view.closed_trees,
    )


@bp.get("/sites/<slug>/trees.csv")
def site_trees_csv(slug: str) -> Response:
    """The trees that the same question finds, as CSV."""
    view = current.site_view(slug)
    asked = request.args.to_dict()
    tag = frame.etag(view, "trees.csv", request.query_string.decode("ascii", "replace"))
    held = frame.unchanged(tag)
    if held is not None:
        return held
    layer = layer_rows(view, "trees")
    found = found_rows(layer.rows, asked, searched=SEARCHED, exact=EXACT)
    body = b"".join(csv_pieces(HeldLayer(_only(layer, found.index))))
    response = frame.kept_answer(body, "text/csv; charset=utf-8", tag)
    response.headers["Content-Disposition"] = f'attachment; filename="{slug}-trees-{view.as_of}.csv"'
    return frame.cautioned(response)


def _only(layer: Any, index: Any) -> Any:
    positions = layer.rows.index.get_indexer(index)
    return replace(
        layer,
        rows=layer.rows.iloc[positions].reset_index(drop=True),
        shapes=layer.shapes[positions],
        ids=layer.ids[positions],
    )


@bp.get("/sites/<slug>/trees/<tree_id>")
def site_tree(slug: str, tree_id: str) -> str:
    """One tree: the card, its measurements, how each number came about."""
    view = current.site_view(slug)
    tree = tree_facts.tree_row(view, tree_id)
    record = tree_facts.record_of(view, tree_id)
    known = explaining.trunks(view.records, view.state, view.terms, view.as_of, tree_id)
    stems = tree_facts.stems_of(view, tree_id, display.Units(view.terms.units), known)
    errors = how_facts.of_tree(view, tree, known, "dbh_cm").errors
    error_parts = () if errors is None else errors.parts
    asked = set(view.questioned.loc[view.questioned["tree_id"] == tree_id, "reading_id"])
    used = {id for trunk in known.values() for id in trunk.inputs.get("reading_id", ())}
    return frame.site_page(
        "tree.html",
        view,
        "trees",
        tree=tree,
        record=record,
        changed=changes_of_tree(view, record),
        stems=stems,
        asked=asked,
        in_question=bool(asked & used),
        reach=view.reaches[tree_id],
        growth_reach=how_facts.growth_reach(view, tree),
        **growth_facts.facts_of(view, tree_id, stems, display.Units(view.terms.units)),
        bar=how_facts.bar(error_parts, "t"),
        better=how_facts.better(error_parts),
        stem_rules=rules_of_tree(view, tree_id),
        chart=any(reading.day for stem in stems for reading in stem.readings),
        flags=_flags(view, tree_id),
        closed=closed.closures_of_tree(view, tree_id),
        observations=_with_state(
            _of_tree(view.records.observations, tree_id, "observed_on"), "observation_id", "tree_id"
        ),
        inspections=list(_of_tree(view.records.inspections, tree_id, "inspected_on").itertuples()),
        statuses=_statuses(view, tree_id),
        photos=photos_of_tree(current.store(), view, tree_id),
        **danger_fields.words(view.terms),
    )


def _flags(view: SiteView, tree_id: str) -> dict[str, list[Any]]:
    flags = today.open_flags(view)
    mine = flags[flags["tree_id"] == tree_id].sort_values("order")
    return {kind: list(mine[mine["kind"] == kind].itertuples()) for kind in ("sign", "circumstance", "gap")}


def _of_tree(rows: pd.DataFrame, tree_id: str, day: str) -> pd.DataFrame:
    return rows[rows["tree_id"] == tree_id].sort_values(day, ascending=False, na_position="last")


def _with_state(rows: pd.DataFrame, id_column: str, subject_column: str) -> list[Any]:
    """What was said, with what became of it; that which only crosses another out is left away."""
    told = rows.assign(state=corrected(rows, id_column, subject_column)["state"])
    return list(told[told["state"] != VOID].itertuples())


def _statuses(view: SiteView, tree_id: str) -> list[Any]:
    events = view.records.status_events
    mine = events[(events["subject"] == "tree") & (events["subject_id"] == tree_id)]
    mine = mine.sort_values("happened_on", ascending=False, na_position="last")
    return _with_state(mine, "status_event_id", "subject_id")
