"""Trees that helpers did not find as they were: in doubt until the ground's manager settles them."""

from dataclasses import dataclass

import numpy as np

from layers.standing import settled_events, statuses
from service.view import SiteView


@dataclass(frozen=True)
class Doubt:
    """A tree in doubt, what was said of it, and the day of that."""

    tree_id: str
    tag: str | None
    place: str | None
    said: str
    happened_on: str | None


def doubts(view: SiteView) -> list[Doubt]:
    """Return the trees of a ground that are in doubt on the day, by number."""
    events = settled_events(view.records.status_events)
    events = events[events["subject"] == "tree"]
    trees = view.records.trees
    if not events["in_doubt"].any():
        return []
    day = np.datetime64(view.as_of, "D")
    _status, in_doubt = statuses(trees["tree_id"], trees["status"], events, day)
    told = events[events["in_doubt"] & ~(events["day"] > day)]
    last = told.drop_duplicates("subject_id", keep="last").set_index("subject_id")
    found = [
        Doubt(
            tree.tree_id,
            tree.tag,
            tree.place,
            last.loc[tree.tree_id, "as_said"] or last.loc[tree.tree_id, "status"],
            last.loc[tree.tree_id, "happened_on"],
        )
        for tree in trees[in_doubt].itertuples()
    ]
    return sorted(found, key=lambda doubt: (doubt.tag or "", doubt.tree_id))
