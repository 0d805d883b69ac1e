"""Dangers seen that nobody has answered: they stand on top of the ground's first page and of the tree's."""

from dataclasses import dataclass

import pandas as pd

from layers import seen
from layers.sights import SIGHTS
from service.view import SiteView


@dataclass(frozen=True)
class Danger:
    """A question raised by one of the six sights that stop a helper at once."""

    tree_id: str
    tag: str | None
    place: str | None
    words: str
    evidence: str
    flag_key: str


def dangers(view: SiteView, tree_id: str | None = None) -> list[Danger]:
    """Return the dangers of a ground, or of one tree, that are unanswered, in the order of looking."""
    flags = view.flags[(view.flags["kind"] == "sign") & view.flags["answered"].isna()]
    if tree_id is not None:
        flags = flags[flags["tree_id"] == tree_id]
    if not len(flags):
        return []
    reported = _reported(view)
    found = [key in reported for key in zip(flags["tree_id"], flags["rule"], strict=True)]
    return [
        Danger(flag.tree_id, flag.tag, flag.place, flag.words, flag.evidence, flag.flag_key)
        for flag in flags[pd.Series(found, index=flags.index)].sort_values("order").itertuples()
    ]


def _reported(view: SiteView) -> set[tuple[str, str | None]]:
    """Tree and rule of every danger that was seen and holds."""
    trees = view.plain_trees.reset_index(drop=True)
    sights = seen.live_sights(view.records, trees, view.terms, view.as_of)
    ids = trees["tree_id"]
    return {(ids[sight.tree], SIGHTS[sight.what].rule) for sight in sights if SIGHTS[sight.what].danger}
