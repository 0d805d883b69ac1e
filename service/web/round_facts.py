"""What pages and paper say of planned measuring days: teams, what is left out and why, the sectors drawn."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import shapely
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from layers.measuring_time import METRES_PER_MINUTE
from layers.round_choice import NEVER_PUT_BACK, NO_PLACE, REASONS, SIGN, UNSEEN
from layers.round_plan import FIRST, ONE_KIND, PRACTICE, REPEAT
from layers.sectors import FEW_TREES, LARGE_TREES, PARTS
from service.round_days import RoundNow
from service.round_ground import RoundGround
from service.view import SiteView
from service.web import display, plain_words

WHY_UNEVEN = {
    FEW_TREES: _l("There are fewer trees than teams: some have nothing to do."),
    PARTS: _l("Roads, water or fences cut the ground into parts, and a team stays in one."),
    LARGE_TREES: _l("The trees cannot be shared out more evenly: single ones take long."),
    ONE_KIND: _l("Only some of the teams may measure most of the trees."),
}
STATUS = {
    "planned": _l("planned"),
    "running": _l("under way"),
    "closed": _l("closed"),
}
_PICTURE_M = 8.0  # ground shown round the trees


@dataclass(frozen=True)
class TeamFact:
    """A team of a plan, as a page shows it."""

    crew_id: str
    code: str
    kind: str
    trees: int
    practice: int
    again: int
    minutes: float
    way_m: float


@dataclass(frozen=True)
class LeftFact:
    """A tree that is on no list: its number, every reason in words, whether it can be put back."""

    tree_id: str
    tag: str
    why: tuple[str, ...]
    may_return: bool


def teams_of(now: RoundNow) -> list[TeamFact]:
    """Return the teams of a plan in its order."""
    return [
        TeamFact(
            crew_id=sheet["crew_id"],
            code=now.codes.get(sheet["crew_id"], "?"),
            kind=plain_words.said(plain_words.CREW_KIND, now.kinds.get(sheet["crew_id"])),
            trees=len({tree["tree_id"] for tree in sheet["trees"]}),
            practice=_count(sheet, PRACTICE),
            again=_count(sheet, REPEAT),
            minutes=sheet["minutes"],
            way_m=sheet["way_m"],
        )
        for sheet in now.plan["sheets"]
    ]


def _count(sheet: Mapping[str, Any], role: str) -> int:
    return sum(tree["role"] == role for tree in sheet["trees"])


def trees_of(now: RoundNow) -> int:
    """Return how many trees a plan measures."""
    return len({tree["tree_id"] for sheet in now.plan["sheets"] for tree in sheet["trees"]})


def twice_of(now: RoundNow) -> int:
    """Return how many trees of a plan two teams measure."""
    return sum(_count(sheet, REPEAT) for sheet in now.plan["sheets"])


def unlooked_of(view: SiteView, now: RoundNow) -> int:
    """Return how many trees of a plan have no size and no qualified look: nobody can tell how large."""
    ids = {
        t["tree_id"] for sheet in now.plan["sheets"] for t in sheet["trees"] if t["role"] in (FIRST, PRACTICE)
    }
    mine = view.trees[view.trees["tree_id"].isin(ids)]
    return int((mine["dbh_cm"].isna() & mine["last_inspected_on"].isna()).sum())


def left_out_of(view: SiteView, now: RoundNow) -> list[LeftFact]:
    """Return the trees that are on no list, by number, with every reason."""
    reasons: dict[str, list[Mapping[str, Any]]] = {}
    for one in now.plan["left_out"]:
        reasons.setdefault(one["tree_id"], []).append(one)
    trees = {tree.tree_id: tree for tree in view.trees[view.trees["tree_id"].isin(reasons)].itertuples()}
    found = [
        LeftFact(
            tree_id=id,
            tag=str(trees[id].tag or _("without a number")),
            why=tuple(_why(one, trees[id], view) for one in said),
            may_return=not any(one["reason"] in NEVER_PUT_BACK for one in said) and _may_return(now, said),
        )
        for id, said in reasons.items()
        if id in trees
    ]
    return sorted(found, key=lambda fact: fact.tag.zfill(12))


def _may_return(now: RoundNow, said: Sequence[Mapping[str, Any]]) -> bool:
    """A tree without a place cannot be put into a sector of pupils, who would have to look for it."""
    return now.status == "planned" and all(one["reason"] != NO_PLACE for one in said)


def _why(one: Mapping[str, Any], tree: Any, view: SiteView) -> str:
    units = display.Units(view.terms.units)
    if one["reason"] == SIGN:
        detail = ", ".join(units.told(sign) for sign in tree.signs) or str(_("not any more"))
    elif one["reason"] == UNSEEN:
        detail = units.with_unit(one.get("cm"), "round", 0)
    else:
        detail = one.get("words") or units.with_unit(one.get("metres"), "height", 1)
    return str(_(REASONS[one["reason"]])).replace("{detail}", detail)


def put_back_of(view: SiteView, now: RoundNow) -> list[dict[str, Any]]:
    """Return the trees that were put back: number, reason, when."""
    tags = dict(zip(view.trees["tree_id"], view.trees["tag"], strict=True))
    return [{**one, "tag": tags.get(one["tree_id"]) or _("without a number")} for one in now.plan["put_back"]]


def why_uneven(now: RoundNow) -> str | None:
    """Return why the teams' times are farther apart than they should be; None where they are not."""
    why = now.plan["why"]
    return None if why is None else str(WHY_UNEVEN.get(why, why))


def speed(view: SiteView) -> str:
    """Return how fast teams are assumed to walk, in words."""
    units = display.Units(view.terms.units)
    return str(_("%(metres)s a minute", metres=units.with_unit(METRES_PER_MINUTE, "height", 0)))


def days_of(now: RoundNow) -> str:
    """Return the days of a round in words."""
    first = display.day(now.from_on)
    return first if now.to_on in (None, now.from_on) else f"{first} – {display.day(now.to_on)}"


def picture(view: SiteView, now: RoundNow) -> dict[str, Any] | None:
    """Return the sectors drawn: sizes and paths of an SVG in metres; None where no tree has a place."""
    ground = RoundGround(view)
    ids = {tree["tree_id"] for sheet in now.plan["sheets"] for tree in sheet["trees"]}
    at = ground.at(view.trees[view.trees["tree_id"].isin(ids)])
    spots = [(float(x), float(y)) for x, y in at if math.isfinite(x)]
    if not spots:
        return None
    meeting = ground.point(now.meeting)
    sectors = [
        (now.codes.get(sheet["crew_id"], "?"), ground.plane(shapely.geometry.shape(sheet["sector"])))
        for sheet in now.plan["sheets"]
        if sheet["sector"]
    ]
    every = [*spots, *([meeting] if meeting else [])]
    west, south, east, north = shapely.total_bounds([shapely.MultiPoint(every), *(s for _c, s in sectors)])
    west, south, east, north = west - _PICTURE_M, south - _PICTURE_M, east + _PICTURE_M, north + _PICTURE_M

    def flat(shape: Any) -> Any:
        return shapely.transform(shape, lambda xy: (xy - (west, north)) * (1, -1))

    things = view.records.targets["geometry"].dropna()
    outline, barriers = ground.outline(), ground.barriers()
    return {
        "width": round(east - west, 1),
        "height": round(north - south, 1),
        "unit": round(max(east - west, north - south) / 100.0, 3),
        "outline": _path([flat(outline)] if outline is not None else []),
        "things": _path(flat(ground.plane(shape)) for shape in things),
        "barriers": _path([flat(barriers)] if barriers is not None else []),
        "closures": _path(flat(ground.plane(s)) for s in view.closures["geometry"].dropna())
        if len(view.closures)
        else "",
        "sectors": [
            {"code": code, "path": _path([flat(shape)]), **_spot(flat(shape.representative_point()))}
            for code, shape in sectors
        ],
        "trees": [_spot(flat(shapely.Point(spot))) for spot in spots],
        "meeting": _spot(flat(shapely.Point(meeting))) if meeting else None,
    }


def _spot(point: Any) -> dict[str, float]:
    return {"x": round(point.x, 1), "y": round(point.y, 1)}


def _path(shapes: Iterable[Any]) -> str:
    """Lines and rings as the path of an SVG."""
    out = []
    for shape in shapes:
        for part in shapely.get_parts(shape):
            rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
            for ring in rings:
                corners = [f"{x:.1f} {y:.1f}" for x, y in shapely.get_coordinates(ring)]
                if part.geom_type == "Point":
                    corners = [corners[0], corners[0]]
                out.append("M" + "L".join(corners) + ("Z" if part.geom_type == "Polygon" else ""))
    return "".join(out)
