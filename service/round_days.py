"""The days themselves: the day page, the start, how far the teams are, the close with what is missing."""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from layers.corrections import LIVE
from layers.day_page import empty_lines
from layers.history import live_readings
from layers.round_progress import TeamProgress, progress
from layers.sectors import divided
from service.actors import Actor
from service.crew_words import end_with_round
from service.errors import InvalidRequest, NotFound
from service.records import parsed
from service.round_ground import RoundGround
from service.round_records import DayPageIn
from service.rounds import CLOSED, PLANNED, RUNNING
from service.store import changes, schema
from service.store.engine import Connection, Store
from service.store.round_rows import round_row
from service.store.rows import revise
from service.store.site_rows import held_site
from service.view import SiteView, today_in, view_of

_LONGEST_WHY = 2000


@dataclass(frozen=True)
class RoundNow:
    """A planned round as it is: its cells, plan, day page, meeting point, codes and kinds of teams."""

    id: str
    version: int
    name: str
    from_on: str
    to_on: str | None
    instrument: str
    unit: str
    height_m: float
    status: str
    plan: dict[str, Any]
    day_page: dict[str, Any]
    meeting: dict[str, Any]
    started_at: str | None
    started_anyway: str | None
    closed_at: str | None
    closing: dict[str, Any] | None
    codes: dict[str, str]
    kinds: dict[str, str]


@dataclass(frozen=True)
class Closing:
    """What closing a round finds: trees not measured, measurements to check, the minutes it costs [min].

    ``missing`` are pairs of the id of a team and of a tree, ``to_check`` readings, ``again`` their trees.
    """

    missing: tuple[tuple[str, str], ...]
    to_check: tuple[str, ...]
    again: tuple[str, ...]
    minutes: float


def planned_round(view: SiteView, round_id: str) -> RoundNow:
    """Return a round that was planned.

    Raises
    ------
    NotFound
        If the site has no such round, or it was only named and never planned.
    """
    rounds, crews = view.records.rounds, view.records.crews
    found = rounds[rounds["id"] == round_id].to_dict("records") if len(rounds) else []
    if not found or found[0]["plan"] is None:
        raise NotFound("planned round", round_id)
    row = found[0]
    mine = crews[crews["round_id"] == round_id]
    told = {name: json.loads(row[name]) if row[name] else {} for name in ("plan", "day_page", "meeting")}
    own = ("id", "version", "name", "from_on", "to_on", "instrument", "unit", "height_m", "status")
    return RoundNow(
        **{name: row[name] for name in (*own, "started_at", "started_anyway", "closed_at")},
        **told,
        closing=json.loads(row["closing"]) if row["closing"] else None,
        codes=dict(zip(mine["id"], mine["code"], strict=True)),
        kinds=dict(zip(mine["id"], mine["kind"], strict=True)),
    )


def readings_of(view: SiteView, round_id: str) -> pd.DataFrame:
    """Return the measurements of a round that hold, with the tree of each."""
    known = live_readings(view.records.readings)
    mine = known[(known["state"] == LIVE).to_numpy(dtype=bool) & (known["round_id"] == round_id).to_numpy()]
    return mine.merge(view.records.stems[["stem_id", "tree_id"]], on="stem_id", how="inner")


def progress_of(view: SiteView, now: RoundNow) -> list[TeamProgress]:
    """Return how far each team of a round is."""
    return _progress(RoundGround(view), now, readings_of(view, now.id))


def _progress(ground: RoundGround, now: RoundNow, readings: pd.DataFrame) -> list[TeamProgress]:
    trees = ground.view.plain_trees  # looked up again and again: no list to be looked at is made for it
    each = ground.minutes(trees, now.instrument)
    minutes = dict(zip(trees["tree_id"], (float(m) for m in each), strict=True))
    return progress(now.plan["sheets"], now.codes, readings, minutes, _told(ground.view, now))


def _told(view: SiteView, now: RoundNow) -> frozenset[str]:
    """The trees of which somebody said since the start that they are not as they were."""
    events = view.records.status_events
    if now.started_at is None or not len(events):
        return frozenset()
    since = (events["received_at"].fillna("") >= now.started_at) & (events["subject"] == "tree")
    return frozenset(events.loc[since, "subject_id"])


def closing_of(view: SiteView, now: RoundNow) -> Closing:
    """Return what closing a round would find now."""
    ground, mine = RoundGround(view), readings_of(view, now.id)
    teams = _progress(ground, now, mine)
    missing = tuple((team.crew_id, tree) for team in teams for tree in team.missing)
    asked = mine[mine["reading_id"].isin(set(view.questioned["reading_id"]))]
    again = tuple(dict.fromkeys(asked["tree_id"]))
    to_walk = list(dict.fromkeys([*(tree for _team, tree in missing), *again]))
    return Closing(missing, tuple(asked["reading_id"]), again, _walk_minutes(ground, now, to_walk))


def _walk_minutes(ground: RoundGround, now: RoundNow, tree_ids: list[str]) -> float:
    """How long one team takes for trees, from the meeting point and back [min]."""
    every = ground.view.plain_trees
    trees = every[every["tree_id"].isin(tree_ids)]
    if not len(trees):
        return 0.0
    at, minutes = ground.at(trees), ground.minutes(trees, now.instrument)
    placed = np.isfinite(at[:, 0])
    walked = divided(
        at[placed],
        minutes[placed],
        1,
        meeting=ground.point(now.meeting),
        barriers=ground.barriers(),
        metres_per_minute=ground.metres_per_minute,
    )
    beside = float(minutes[~placed].sum()) + float(minutes[placed][list(walked.unreached)].sum())
    return walked.sectors[0].minutes + beside


def write_day_page(
    store: Store, slug: str, actor: Actor, round_id: str, seen_version: int, values: Mapping[str, Any]
) -> int:
    """Keep the lines of the day page (``DayPageIn``); return the new version of the round.

    Raises
    ------
    InvalidRequest
        With every fault.
    NotFound
        If there is no such site or round.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    said = parsed(DayPageIn, values)
    cells = {"day_page": json.dumps(said.model_dump(), ensure_ascii=False)}
    return _revised(store, slug, actor, round_id, seen_version, (PLANNED, RUNNING), lambda *_: cells)


def start(
    store: Store, slug: str, actor: Actor, round_id: str, seen_version: int, anyway: str | None = None
) -> int:
    """Start a round; return its new version.

    Where the tree check or the wind line is empty, ``anyway`` says why it is started; that is kept.

    Raises
    ------
    InvalidRequest
        If a line is empty and nothing is said about it; if it has begun or is over.
    NotFound
        If there is no such site or round.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """

    def cells(_connection: Connection, site: Any, row: Any) -> dict[str, Any]:
        page = json.loads(row.day_page) if row.day_page else {}
        empty = empty_lines(page, site.wind_limit, today_in(site.time_zone))
        why = (anyway or "").strip()[:_LONGEST_WHY] or None
        if empty and why is None:
            raise InvalidRequest(
                [("/anyway", "A line of the day page is empty. Fill it in, or write why you start anyway.")]
            )
        kept = why if empty else None
        return {"status": RUNNING, "started_at": changes.now(), "started_anyway": kept}

    return _revised(store, slug, actor, round_id, seen_version, (PLANNED,), cells)


def close(
    store: Store, slug: str, actor: Actor, round_id: str, seen_version: int, note: str | None = None
) -> int:
    """Close a round: what is missing and to be checked is kept with it, its words end; return the version.

    Raises
    ------
    InvalidRequest
        If it has not begun, or is over.
    NotFound
        If there is no such site or round.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    view = view_of(store, slug, actor)
    found = closing_of(view, planned_round(view, round_id))
    kept = {**asdict(found), "minutes": round(found.minutes, 1), "note": (note or "").strip() or None}

    def cells(connection: Connection, site: Any, _row: Any) -> dict[str, Any]:
        end_with_round(connection, site.fid, round_id)
        said = json.dumps(kept, ensure_ascii=False)
        return {"status": CLOSED, "closed_at": changes.now(), "closing": said}

    return _revised(store, slug, actor, round_id, seen_version, (RUNNING,), cells)


def _revised(
    store: Store,
    slug: str,
    actor: Actor,
    round_id: str,
    seen_version: int,
    may_be: tuple[str, ...],
    cells: Callable[[Connection, Any, Any], dict[str, Any]],
) -> int:
    actor.require("manage")
    with store.write() as connection:
        site = held_site(connection, slug)
        row = round_row(connection, site.fid, round_id)
        if row.status not in may_be:
            raise InvalidRequest("These measuring days have moved on meanwhile. Look at them again.")
        new = cells(connection, site, row)
        made = changes.begin(connection, site.fid, actor, "edit", "round")
        return revise(connection, schema.round_, site.fid, round_id, seen_version, new, made.fid)
