"""What measuring days taught, put together for a page or a phone: of all teams, or for one of them."""

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from threading import Lock
from typing import Any

import numpy as np
import pandas as pd
from flask_babel import gettext as _

from layers import hands_against_tape
from layers.class_learning import (
    Agreement,
    Grown,
    Guesses,
    agreement_of,
    grown_until,
    guesses_of,
    round_sizes,
)
from layers.growth_of_trees import GrowingGroup
from layers.hands import INSTRUMENT_OF
from layers.hands_against_tape import Hands
from layers.repeatability import repeatability
from service.errors import NotFound
from service.view import SiteView
from service.web import display

KEPT = 24
KINDS_SHOWN = 8
_kept: OrderedDict[tuple[str, str, str | None], "Learned"] = OrderedDict()
_lock = Lock()


@dataclass(frozen=True)
class TeamGuesses:
    """The guesses of a team, as it is called on the page; of all teams for the last row of a team's page."""

    team: str
    whole: bool
    of: Guesses


@dataclass(frozen=True)
class Learned:
    """What a round taught; for one team where ``team`` is its code.

    ``teams`` are the codes of all that measured. ``hands_here`` says whether hands are of this round,
    ``hands_from`` of which rounds they are else, ``hands_said`` whether any trunk of the ground was ever
    counted in hands. ``day`` is the last one of the round.
    """

    round: Any
    team: str | None
    teams: tuple[str, ...]
    day: str | None
    trunks: int
    readings: int
    guesses: Guesses
    by_team: tuple[TeamGuesses, ...]
    agreement: Agreement
    hands: Hands
    hands_here: bool
    hands_from: tuple[str, ...]
    hands_said: bool
    grown: Grown

    def called(self, crew: str | None) -> str:
        """Return how a team is called: by its code, others than one's own as another team."""
        if self.team is not None and crew != self.team:
            return str(_("another team"))
        return crew or str(_("team not said"))

    def with_teams(self, rows: pd.DataFrame) -> pd.DataFrame:
        """Return rows with ``team``, as each is called."""
        return rows.assign(team=[self.called(crew) for crew in rows["crew"]])

    @property
    def groups(self) -> list[GrowingGroup]:
        """The groups that grew, named as on the page: all trunks, then the kinds with most of them."""
        if self.grown.all is None:
            return []
        return [replace(self.grown.all, name=str(_("all of them"))), *self.grown.kinds[:KINDS_SHOWN]]


def learned_of(view: SiteView, round_id: str, team: str | None = None) -> Learned:
    """Return what a round taught, for a team where one is named.

    Raises
    ------
    NotFound
        If the ground has no such round, or the round no such team.
    """
    key = view.key, round_id, team
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    found = _learned(view, round_id, team)
    with _lock:
        _kept[key] = found
        while len(_kept) > KEPT:
            _kept.popitem(last=False)
    return found


def _learned(view: SiteView, round_id: str, team: str | None) -> Learned:
    rounds = view.records.rounds
    asked = rounds[rounds["id"] == round_id] if len(rounds) else rounds
    if not len(asked):
        raise NotFound(_("measuring days"), round_id)
    one = next(asked.itertuples())
    sizes = round_sizes(view.records, view.terms, round_id)
    teams = tuple(sorted({crew for crew in sizes["crew"] if crew}))
    if team is not None and team not in {*teams, *_planned(view, round_id)}:
        raise NotFound(_("team"), team)
    mine = sizes if team is None else sizes[sizes["crew"] == team]
    day = one.to_on or one.from_on or sizes["measured_on"].max()
    hands, here, sources, said = _hands(view, round_id)
    return Learned(
        round=one,
        team=team,
        teams=teams,
        day=day if isinstance(day, str) else None,
        trunks=mine["stem_id"].nunique(),
        readings=len(mine),
        guesses=guesses_of(sizes),
        by_team=tuple(_team_guesses(sizes, teams, team)),
        agreement=agreement_of(repeatability(view.records, view.terms, round_id), team),
        hands=hands,
        hands_here=here,
        hands_from=sources,
        hands_said=said,
        grown=_grown(view, set(mine["stem_id"]), day),
    )


def _planned(view: SiteView, round_id: str) -> Iterable[str]:
    crews = view.records.crews
    return crews.loc[crews["round_id"] == round_id, "code"].tolist() if len(crews) else ()


def _team_guesses(sizes: pd.DataFrame, teams: tuple[str, ...], team: str | None) -> Iterable[TeamGuesses]:
    for code in teams if team is None else (team,):
        yield TeamGuesses(code, False, guesses_of(sizes[sizes["crew"] == code]))
    yield TeamGuesses(str(_("all teams together")), True, guesses_of(sizes))


def _hands(view: SiteView, round_id: str) -> tuple[Hands, bool, tuple[str, ...], bool]:
    """Hands of the round, else of all the history: with whether of the round, of which rounds, any at all."""
    said = view.records.readings["instrument"].isin(list(INSTRUMENT_OF.values()))
    rows = hands_against_tape.hands_beside_tapes(view.records, view.terms)
    mine = rows[rows["round_id"] == round_id]
    here = len(mine) > 0
    names = dict(zip(view.records.rounds["id"], view.records.rounds["name"], strict=True))
    sources = tuple(names[id] for id in dict.fromkeys(rows["round_id"]) if id in names)
    return hands_against_tape.hands_of(mine if here else rows), here, sources, bool(said.any())


def _grown(view: SiteView, stems: set[str], day: Any) -> Grown:
    if not stems or not isinstance(day, str):
        return Grown(None, ())
    trees = view.trees[["tree_id", "genus"]].dropna()
    known = view.records.stems[["stem_id", "tree_id"]].merge(trees, on="tree_id")
    genus = dict(zip(known["stem_id"].astype(str), known["genus"], strict=True))
    return grown_until(view.records, view.terms, stems, day, {id: name for id, name in genus.items() if name})


def grown_words(group: GrowingGroup, units: display.Units) -> tuple[str, str]:
    """Return the growth of a group round the trunk, and half its 95 % interval, without unit."""
    reach = (group.hi - group.lo) / 2.0 / group.se if group.se else 0.0
    value, se = np.pi * group.growth_cm_per_yr, np.pi * group.se
    return units.beside_error(value, se, "growth", None, reach), units.half(se, "growth", reach)
