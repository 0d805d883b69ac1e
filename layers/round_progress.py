"""How far the teams of a round are: what each has measured of its sheet, and what is missing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd


@dataclass(frozen=True)
class TeamProgress:
    """A team: how many trees of its sheet are measured, which are missing, minutes left [min], the last one.

    ``besides`` are trees that it measured and that are not on its sheet; ``told`` those of which it was said
    that they were not as they were.
    """

    crew_id: str
    code: str
    planned: int
    done: int
    missing: tuple[str, ...]
    told: int
    besides: int
    minutes_left: float
    last_at: str | None


def progress(
    sheets: Sequence[Mapping[str, Any]],
    codes: Mapping[str, str],
    readings: pd.DataFrame,
    minutes: Mapping[str, float],
    told: frozenset[str] = frozenset(),
) -> list[TeamProgress]:
    """Return how far each team is.

    Parameters
    ----------
    sheets : sequence of mapping
        ``crew_id`` and ``trees`` (``tree_id``) of the plan.
    codes : mapping
        The code of each team by its id: what its readings carry.
    readings : DataFrame
        ``tree_id``, ``crew`` and ``received_at`` of the live readings of the round.
    minutes : mapping
        How long a team is busy at each tree [min]; a tree that is not there takes none.
    told : frozenset of str
        Trees that were said not to be as they were: nobody goes there again.
    """
    by_crew = {str(code): mine for code, mine in readings.groupby("crew")} if len(readings) else {}
    out = []
    for sheet in sheets:
        code = codes.get(sheet["crew_id"], "")
        mine = by_crew.get(code)
        measured = set() if mine is None else set(mine["tree_id"])
        planned = dict.fromkeys(tree["tree_id"] for tree in sheet["trees"])
        missing = tuple(tree for tree in planned if tree not in measured and tree not in told)
        out.append(
            TeamProgress(
                crew_id=sheet["crew_id"],
                code=code,
                planned=len(planned),
                done=sum(tree in measured for tree in planned),
                missing=missing,
                told=sum(tree in told and tree not in measured for tree in planned),
                besides=len(measured - set(planned)),
                minutes_left=sum(minutes.get(tree, 0.0) for tree in missing),
                last_at=None if mine is None else str(mine["received_at"].max()),
            )
        )
    return out
