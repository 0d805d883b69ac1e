"""Measuring days: planned from what a manager asks for, planned anew, trees put back with a reason."""

import json
import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import shapely

from layers.round_choice import NEVER_PUT_BACK, chosen
from layers.round_plan import MOST_TREES, Ask, Plan, Sheet, Team, drafted
from service.actors import Actor
from service.errors import InvalidRequest
from service.records import parsed
from service.round_ground import RoundGround
from service.round_records import PutBackIn, RoundPlanIn
from service.store import changes, schema
from service.store.engine import Row, Store
from service.store.round_rows import crew_codes, crews_of_round, round_row
from service.store.rows import by_ids, insert_records, revise, revise_many
from service.store.site_rows import find_site, held_site
from service.view import SiteView, view_of

PLANNED, RUNNING, CLOSED = "planned", "running", "closed"
_OWN = ("name", "from_on", "to_on", "instrument", "unit", "height_m")
_MEETING = ("meeting_words", "lon_deg", "lat_deg", "x_m", "y_m")


@dataclass(frozen=True)
class _Drafted:
    """What was asked, and the plan that came of it with the ground that it lies on."""

    asked: RoundPlanIn
    ground: RoundGround
    plan: Plan


def plan_round(
    store: Store, slug: str, actor: Actor, values: Mapping[str, Any], id: str | None = None
) -> str:
    """Plan measuring days (``RoundPlanIn``) with their teams, as one change; return the id of the round.

    A round that has the given ``id`` already is left as it is.

    Raises
    ------
    InvalidRequest
        With every fault; no tree to measure, or too many, is one.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    asked = parsed(RoundPlanIn, values)
    round_id = id or str(uuid.uuid4())
    with store.read() as connection:
        site = find_site(connection, slug)
        if by_ids(connection, schema.round_, site.fid, [round_id]):
            return round_id
        codes = _new_codes(crew_codes(connection, site.fid), len(asked.kinds()))
    teams = [
        (str(uuid.uuid5(uuid.UUID(round_id), code)), code, kind)
        for code, kind in zip(codes, asked.kinds(), strict=True)
    ]
    done = _drafted(view_of(store, slug, actor), asked, [Team(id, kind) for id, _code, kind in teams], ())
    with store.write() as connection:
        site = held_site(connection, slug)
        made = changes.begin(connection, site.fid, actor, "entry", "round")
        shared = {"site_id": site.fid, "change_id": made.fid, "version": 1, "void": 0}
        insert_records(connection, schema.round_, [{"id": round_id, **_cells(done, ()), **shared}])
        insert_records(connection, schema.crew, [_crew(round_id, *team, shared) for team in teams])
    return round_id


def plan_again(
    store: Store, slug: str, actor: Actor, round_id: str, seen_version: int, values: Mapping[str, Any]
) -> int:
    """Plan measuring days anew that have not begun; teams stay, by their kind; return the new version.

    Trees that were put back stay put back.

    Raises
    ------
    InvalidRequest
        As :func:`plan_round`; also if the days have begun or are over.
    NotFound
        If there is no such site or round.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    return _planned(store, slug, actor, round_id, seen_version, parsed(RoundPlanIn, values), None)


def put_back(
    store: Store, slug: str, actor: Actor, round_id: str, seen_version: int, values: Mapping[str, Any]
) -> int:
    """Put a tree back on pupils' lists, with the reason (``PutBackIn``); return the new version.

    Raises
    ------
    InvalidRequest
        With every fault; a tree that was not left out, or that is behind a barrier, is one.
    NotFound
        If there is no such site or round.
    StaleVersion
        If it has another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    return _planned(store, slug, actor, round_id, seen_version, None, parsed(PutBackIn, values))


def _planned(
    store: Store,
    slug: str,
    actor: Actor,
    round_id: str,
    seen_version: int,
    asked: RoundPlanIn | None,
    back: PutBackIn | None,
) -> int:
    view = view_of(store, slug, actor)
    with store.read() as connection:
        site = find_site(connection, slug)
        row = round_row(connection, site.fid, round_id)
        crews = crews_of_round(connection, site.fid, round_id)
        codes = crew_codes(connection, site.fid)
    plan = _plan_of(row)
    if asked is None:
        asked = parsed(RoundPlanIn, plan["chosen_by"])
    returned = list(plan["put_back"])
    if back is not None:
        _require_left_out(plan, back)
        returned.append({"tree_id": back.tree_id, "reason": back.reason, "at": changes.now()})
    teams, new, gone = _teams(crews, asked.kinds(), round_id, codes)
    cells = _cells(_drafted(view, asked, teams, returned), returned)
    with store.write() as connection:  # crews of a round change with its version only
        site = held_site(connection, slug)
        made = changes.begin(connection, site.fid, actor, "edit", "round")
        version = revise(connection, schema.round_, site.fid, round_id, seen_version, cells, made.fid)
        shared = {"site_id": site.fid, "change_id": made.fid, "version": 1, "void": 0}
        insert_records(connection, schema.crew, [_crew(round_id, *team, shared) for team in new])
        revise_many(connection, schema.crew, [(crew, {"void": 1}) for crew in gone], made.fid)
    return version


def _plan_of(row: Row[Any]) -> dict[str, Any]:
    """The plan of a round that has not begun.

    Raises
    ------
    InvalidRequest
        If it has begun, is over, or was never planned.
    """
    if row.plan is None or row.status != PLANNED:
        raise InvalidRequest("Only measuring days that have not begun can be planned anew. Plan new ones.")
    plan: dict[str, Any] = json.loads(row.plan)
    return plan


def _require_left_out(plan: Mapping[str, Any], back: PutBackIn) -> None:
    reasons = {one["reason"] for one in plan["left_out"] if one["tree_id"] == back.tree_id}
    if not reasons or reasons & NEVER_PUT_BACK:
        raise InvalidRequest(
            [
                (
                    "/tree_id",
                    "Only a tree that was left out, and that can be reached, is put back. Choose another.",
                )
            ]
        )


def _teams(
    crews: Sequence[Row[Any]], kinds: Sequence[str], round_id: str, known: set[str]
) -> tuple[list[Team], list[tuple[str, str, str]], list[Row[Any]]]:
    """The teams of a plan, those of them that are new (id, code, kind), and those that are gone."""
    left = list(crews)
    codes = iter(_new_codes(known, len(kinds)))
    teams, new = [], []
    for kind in kinds:
        same = next((crew for crew in left if crew.kind == kind), None)
        if same is not None:
            left.remove(same)
            teams.append(Team(same.id, kind))
            continue
        code = next(codes)
        id = str(uuid.uuid5(uuid.UUID(round_id), code))
        new.append((id, code, kind))
        teams.append(Team(id, kind))
    return teams, new, left


def _new_codes(known: set[str], count: int) -> list[str]:
    """Codes that no team of the ground has had, so that no hand or habit is taken for another's."""
    used = [int(found[1]) for code in known if (found := re.fullmatch(r"team (\d{1,6})", code))]
    first = max(used, default=0) + 1
    return [f"team {number}" for number in range(first, first + count)]


def _crew(round_id: str, id: str, code: str, kind: str, shared: Mapping[str, Any]) -> dict[str, Any]:
    return {"id": id, "round_id": round_id, "code": code, "kind": kind, **shared}


def _drafted(
    view: SiteView, asked: RoundPlanIn, teams: Sequence[Team], returned: Sequence[Mapping[str, Any]]
) -> _Drafted:
    ground = RoundGround(view)
    trees = chosen(
        view.trees,
        inside=ground.inside(asked.zone),
        from_cm=asked.from_cm,
        to_cm=asked.to_cm,
        not_since=asked.not_since,
    )
    if not len(trees):
        raise InvalidRequest("No standing tree is like that. Choose another place, size or day.")
    if len(trees) > MOST_TREES:
        raise InvalidRequest(f"These are {len(trees)} trees; plan at most {MOST_TREES:,} at a time.")
    ask = Ask(
        teams=tuple(teams),
        meeting=ground.point(asked.model_dump()),
        barriers=ground.barriers(),
        repeat_share=asked.repeat_share,
        practice=asked.practice,
        seed=asked.seed,
        put_back=frozenset(one["tree_id"] for one in returned),
        metres_per_minute=ground.metres_per_minute,
    )
    minutes = ground.minutes(trees, asked.instrument)
    plan = drafted(trees, ground.at(trees), minutes, ground.reasons(trees, asked.keep_off_m), ask)
    return _Drafted(asked, ground, plan)


def _cells(done: _Drafted, returned: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    asked = done.asked.model_dump()
    plan = {
        "sheets": [_sheet(sheet, done.ground) for sheet in done.plan.sheets],
        "left_out": [
            {name: value for name, value in asdict(one).items() if value is not None}
            for one in done.plan.left_out
        ],
        "put_back": list(returned),
        "chosen_by": asked,
        "seed": done.asked.seed,
        "spread": round(done.plan.spread, 4),
        "why": done.plan.why,
        "timed_gaps": done.ground.pace.gaps,
    }
    return {
        **{name: asked[name] for name in _OWN},
        "status": PLANNED,
        "plan": json.dumps(plan, ensure_ascii=False),
        "meeting": json.dumps({name: asked[name] for name in _MEETING}, ensure_ascii=False),
    }


def _sheet(sheet: Sheet, ground: RoundGround) -> dict[str, Any]:
    return {
        "crew_id": sheet.team.id,
        "trees": [{"tree_id": tree, "role": role} for tree, role in sheet.trees],
        "minutes": round(sheet.minutes, 1),
        "way_m": round(sheet.way_m, 1),
        "sector": _geojson(ground.earth(sheet.sector)),
        "walk": _geojson(ground.earth(sheet.line)),
    }


def _geojson(shape: Any) -> Any:
    return None if shape is None else json.loads(shapely.to_geojson(shape))
