"""Everything computed for a site at a day: what pages, outlets and the command line show.

Kept by (site, change number, audience, day), so that nothing is computed twice and nothing stale is shown.
"""

import datetime as dt
from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property
from threading import Lock
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from layers import canopy, ground, history, screening, tree_table
from layers import figures as figures_layer
from layers.closed_ground import closed_trees, closures_on, hazards_on
from layers.components import Changes, changes_between
from layers.crew_checks import crews_questioned, settled_crews
from layers.danger_state import dangers_of
from layers.expectation import Expected
from layers.far_apart import Learned, learned
from layers.growth import Growth, growth_of
from layers.history import StandState
from layers.inputs import Records, SiteTerms, with_hands
from layers.intervals import reach_of_trees
from layers.questioned import expected_by, questioned
from layers.surroundings import Surroundings, surroundings
from layers.tree_forecasts import StemsAhead, stems_ahead
from service.actors import Actor, visible
from service.collecting import nothing_to_collect
from service.errors import InvalidRequest
from service.store.engine import Connection, Row, Store
from service.store.former import site_at
from service.store.frames import records_of, terms_of
from service.store.model_rows import model_in_use
from service.store.site_list import site_rows_with_trees
from service.store.site_rows import find_site

KEPT_VIEWS = 12


@dataclass(frozen=True)
class SiteSummary:
    """One line of the list of sites."""

    slug: str
    name: str
    invented: bool
    trees: int
    change_no: int


@dataclass(frozen=True)
class ViewKey:
    """What a view depends on: the ground, its last change, what was known, who asks, the day."""

    site_id: str
    site_fid: int
    made_at: str
    latest: str
    known_at: int
    audience: str
    as_of: str


class SiteView:
    """A site at a day: records, state of the stems, table of trees, figures, flags, all lazily computed."""

    def __init__(
        self,
        terms: SiteTerms,
        records: Records,
        as_of: str,
        known_at: int,
        audience: str,
        invented: bool,
        made_at: str = "",
    ) -> None:
        self.terms = terms
        self.records = records
        self.as_of = as_of
        self.known_at = known_at
        self.audience = audience
        self.invented = invented
        self.made_at = made_at

    @property
    def key(self) -> str:
        """What this view depends on, for ETags; a sample that was thrown away and came again is another."""
        return f"{self.terms.slug}-{self.made_at}-{self.known_at}-{self.audience}-{self.as_of}"

    @cached_property
    @nothing_to_collect()
    def state(self) -> StandState:
        """The stems on that day, with their shared error parts."""
        return history.state_at(self.records, self.terms, self.as_of)

    @cached_property
    def _tall(self) -> pd.DataFrame:
        return canopy.heights_and_crowns(self.records.observations, self.as_of, self.terms.time_zone)

    @cached_property
    def growth(self) -> Growth:
        """The growth of the stems by everything measured until that day."""
        return growth_of(self.records, self.terms, self.as_of)

    @cached_property
    def growth_ahead(self) -> StemsAhead:
        """The living stems, the growth of their peers, and from where each is carried on."""
        return stems_ahead(self.growth, self.state, self.records.trees, self.terms)

    @cached_property
    def plain_trees(self) -> pd.DataFrame:
        """The table of trees before the list to be looked at is known."""
        return tree_table.tree_table(
            self.records, self.state, self.terms, self.as_of, tall=self._tall, growth=self.growth
        )

    @cached_property
    def _around(self) -> Surroundings:
        return surroundings(self.records, self.plain_trees, self.terms, self.as_of, self._tall)

    def reach_m(self, tree_id: str) -> float | None:
        """Return how far a tree could reach lying down [m], at most; None where that is not known."""
        found = self._around.reach_m[(self._around.trees["tree_id"] == tree_id).to_numpy(dtype=bool)]
        return float(found[0]) if len(found) and np.isfinite(found[0]) else None

    @cached_property
    @nothing_to_collect()
    def flags(self) -> pd.DataFrame:
        """The list to be looked at."""
        given = (self.records, self.plain_trees, self.terms, self.as_of)
        return screening.flags(*given, around=self._around)

    @cached_property
    @nothing_to_collect()
    def trees(self) -> pd.DataFrame:
        """The table of trees with signs, circumstances and questions (columns of TREES)."""
        given = (self.records, self.terms, self.as_of)
        return screening.with_flags(self.plain_trees, self.flags, *given, around=self._around)

    @cached_property
    def learned(self) -> Learned:
        """The error model that the repeated readings of the site teach, whatever the day."""
        return learned(self.records, self.terms)

    @cached_property
    def expected(self) -> Expected:
        """What was to be expected of every reading, by what came before it."""
        return expected_by(self.records, self.terms)

    @cached_property
    def questioned(self) -> pd.DataFrame:
        """The readings until that day that ask for a second look and that nobody has settled."""
        return questioned(self.records, self.terms, self.as_of, self.expected)

    @cached_property
    def questioned_crews(self) -> pd.DataFrame:
        """The crews of which all readings of a round seem to be off in one way, not settled."""
        found = crews_questioned(self.expected)
        return found[~found["crew_id"].isin(settled_crews(self.records))].reset_index(drop=True)

    @cached_property
    def reaches(self) -> dict[str, float]:
        """How many standard errors the give or take of each tree's width reaches, by ``tree_id``."""
        return {
            str(tree): float(reach) for tree, reach in reach_of_trees(self.state, self.terms.model).items()
        }

    @cached_property
    def areas(self) -> pd.DataFrame:
        """The areas that hold on that day, with their size in hectares."""
        areas = self.records.areas
        held = _holds(areas["valid_from"], areas["valid_to"], self.as_of)
        return ground.areas_ha(areas[held].reset_index(drop=True), self.terms)

    @cached_property
    def dangers(self) -> pd.DataFrame:
        """The dangers that were reported and hold, whatever the day, with whether a manager answered."""
        return dangers_of(self.records)

    @cached_property
    def trees_in_danger(self) -> frozenset[str]:
        """The trees at which a danger was seen that no manager has answered."""
        waits = self.dangers[~self.dangers["answered"].astype(bool)]
        return frozenset(waits["tree_id"].dropna())

    @cached_property
    def closures(self) -> pd.DataFrame:
        """What is closed on that day, with outlines."""
        return closures_on(self.records.closures, self.records.trees, self.terms, self.as_of)

    @cached_property
    def closed_trees(self) -> dict[str, list[int]]:
        """The trees that are closed on that day: {tree id: rows of ``closures``}."""
        return closed_trees(self.closures, self.records.trees, self.terms)

    @cached_property
    def hazards(self) -> pd.DataFrame:
        """What endangers those who work or measure, on that day."""
        return hazards_on(self.records.hazards, self.as_of)

    @cached_property
    def membership(self) -> pd.DataFrame:
        """Which tree is inside which area."""
        return ground.membership(self.records.trees, self.areas, self.terms)

    @cached_property
    def figures(self) -> list[dict[str, Any]]:
        """Figures of the site, its places and its areas (definitions N15)."""
        return self._figures(None)

    def figures_since(self, since: str | None) -> list[dict[str, Any]]:
        """Return the figures with what changed since an earlier day; without one, those of the day alone.

        Raises
        ------
        InvalidRequest
            If that is not a day before the day of the view.
        """
        return self.figures if since is None else self._figures(self.changes_since(since))

    def changes_since(self, since: str) -> Changes:
        """Return what became of the stems since an earlier day.

        Raises
        ------
        InvalidRequest
            If that is not a day before the day of the view.
        """
        day = _day(since, "since")
        if day >= self.as_of:
            said = f"{day} is not before {self.as_of}; name an earlier day to compare with."
            raise InvalidRequest([("since", said)])
        return changes_between(self.records, self.terms, day, self.as_of)

    @nothing_to_collect()
    def _figures(self, since: Changes | None) -> list[dict[str, Any]]:
        return figures_layer.figures(
            self.state.stem_state,
            self.state.stem_parts,
            self.state.causes,
            self.membership,
            trees=self.trees,
            areas=self.areas,
            terms=self.terms,
            as_of=self.as_of,
            known_at=self.known_at,
            places=self.records.places,
            flags=self.flags,
            since=since,
        )


def today_in(time_zone: str) -> str:
    """Return the calendar day in a time zone."""
    return dt.datetime.now(ZoneInfo(time_zone)).date().isoformat()


_kept: OrderedDict[tuple[int, ViewKey], SiteView] = OrderedDict()
_lock = Lock()


def view_of(
    store: Store, slug: str, actor: Actor, as_of: str | None = None, known_at: int | None = None
) -> SiteView:
    """Return the view of a site at a day (today in its time zone by default).

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not see it.
    InvalidRequest
        If ``as_of`` is not a day.
    """
    with store.read() as connection:
        key, row, agreed = _asked(connection, slug, actor, as_of, known_at)
        kept = store.serial, key
        with _lock:
            if kept in _kept:
                _kept.move_to_end(kept)
                return _kept[kept]
        terms = terms_of(agreed, model_in_use(connection, row.fid, known_at))
        records = records_of(connection, row.fid, known_at)
    view = SiteView(
        with_hands(terms, records),
        records,
        key.as_of,
        key.known_at,
        key.audience,
        bool(row.invented),
        row.created_at,
    )
    with _lock:
        _kept[kept] = view
        while len(_kept) > KEPT_VIEWS:
            _kept.popitem(last=False)
    return view


def key_of(
    store: Store, slug: str, actor: Actor, as_of: str | None = None, known_at: int | None = None
) -> ViewKey:
    """Return what the view of a site at a day depends on, without making it; raises as :func:`view_of`."""
    with store.read() as connection:
        return _asked(connection, slug, actor, as_of, known_at)[0]


def terms_at(store: Store, slug: str, actor: Actor, known_at: int | None = None) -> SiteTerms:
    """Return what a site agreed on, without its records and their hands; raises as :func:`view_of`."""
    with store.read() as connection:
        _, row, agreed = _asked(connection, slug, actor, None, known_at)
        return terms_of(agreed, model_in_use(connection, row.fid, known_at))


def _asked(
    connection: Connection, slug: str, actor: Actor, as_of: str | None, known_at: int | None
) -> tuple[ViewKey, Row[Any], Any]:
    """Return the key of a view, the row of its site, and that row with what was agreed on by then."""
    audience = visible(slug, actor)
    row = find_site(connection, slug)
    agreed = row if known_at is None else site_at(connection, row, known_at)
    number = row.change_no if known_at is None else min(known_at, row.change_no)
    key = ViewKey(
        site_id=row.id,
        site_fid=row.fid,
        made_at=row.created_at,
        latest=f"{row.version}.{row.change_no}",
        known_at=number,
        audience=audience,
        as_of=_day(as_of) if as_of else today_in(agreed.time_zone),
    )
    return key, row, agreed


def _day(text: str, name: str = "as_of") -> str:
    try:
        return dt.date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise InvalidRequest([(name, f"{text[:40]!r} is not a day; write it as YYYY-MM-DD.")]) from error


def sites(store: Store, actor: Actor) -> list[SiteSummary]:
    """Return the sites that an actor may see, one's own grounds first, by name."""
    with store.read() as connection:
        rows = site_rows_with_trees(connection)
    return [
        SiteSummary(row.slug, row.name, bool(row.invented), row.trees, row.change_no)
        for row in rows
        if visible(row.slug, actor)
    ]


def _holds(first: pd.Series, last: pd.Series, day: str) -> np.ndarray:
    return np.array(
        [(f is None or f <= day) and (t is None or t >= day) for f, t in zip(first, last, strict=True)],
        dtype=bool,
    )
