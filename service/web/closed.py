"""What pages say of closed places and of hazards."""

from typing import Any

from layers.cautions import LONG
from service.outlets.warning_rows import closures_with_trees, hazards_asking
from service.view import SiteView
from service.web import choices, display

Row = dict[Any, Any]

WIRES = next(point for point in LONG if point.key == "wires")


def closures_of_tree(view: SiteView, tree_id: str) -> list[Row]:
    """Return what closes a tree on the day of the view."""
    rows = view.closed_trees.get(tree_id, [])
    return view.closures.iloc[rows].to_dict("records") if rows else []


def closed_now(view: SiteView) -> list[Row]:
    """Return the places that are closed on the day of the view, with the ids of their trees."""
    return closures_with_trees(view)


def closed_before_or_later(view: SiteView) -> list[Row]:
    """Return the other closures of the ground, the latest first."""
    every = view.records.closures
    if not len(every):
        return []
    held = set(view.closures["id"])
    others = every[~every["id"].isin(held)].sort_values("from_on", ascending=False)
    return list(others.to_dict("records"))


def hazard_rows(view: SiteView) -> list[Row]:
    """Return the hazards that are there on the day of the view, with what they ask of people."""
    plain = dict(choices.HAZARD_KINDS)
    rows = hazards_asking(view)
    return [
        {**row, "plain": plain.get(row["kind"], row["kind"]), "ask": row["ask"] and display.say(row["ask"])}
        for row in rows
    ]
