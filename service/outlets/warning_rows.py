"""What is closed, with its trees, and hazards with what they ask of people: for maps, pages and the API."""

from typing import Any

from layers.line_distance import asked_of_people
from service.view import SiteView

Row = dict[Any, Any]


def closures_with_trees(view: SiteView) -> list[Row]:
    """Return the places that are closed on the day of the view; ``trees`` are the ids of those in it."""
    trees: dict[int, list[str]] = {}
    for tree_id, numbers in view.closed_trees.items():
        for number in numbers:
            trees.setdefault(number, []).append(tree_id)
    rows = enumerate(view.closures.to_dict("records"))
    return [{**row, "trees": sorted(trees.get(number, []))} for number, row in rows]


def hazards_asking(view: SiteView) -> list[Row]:
    """Return the hazards that are there on the day; ``ask`` is what one asks of people, in words, or None."""
    return [
        {**row, "ask": asked_of_people(row["voltage_kv"]) if row["kind"] == "overhead line" else None}
        for row in view.hazards.to_dict("records")
    ]
