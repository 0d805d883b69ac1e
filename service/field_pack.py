"""The pack: all that a phone of a team needs to measure for a day without a network.

What a team may not see is not in it: last sizes go to trained staff alone, and which trees two teams measure
on purpose is not told to helpers.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from layers import packing
from layers.everyday_names import in_words
from layers.hands import FEWEST_TIMES, LAID
from layers.round_plan import PRACTICE, REPEAT
from layers.sights import SIGHTS
from layers.standing import REMOVED
from layers.tree_codes import tree_codes
from service.actors import LOCAL_MANAGER
from service.crew_words import CrewPass
from service.field_ground import FieldGround, frame_told, rings_of
from service.field_plan import Corners, corners_of, shown_plan
from service.field_records import FORMAT, HELPER_SAYS
from service.outlets.round_sheets import ROUND_WORDS
from service.outlets.sheet_rows import NAMES, Ground, RowMaker, SheetJob
from service.round_days import RoundNow, planned_round
from service.store import changes
from service.store.engine import Store
from service.store.site_rows import find_site
from service.view import SiteView, view_of

PICTURE = "/field/api/plan.png"
_TRAINED = "trained staff"
_MARGIN_M = 15.0  # round trees and outline on the map
_MOST_CORNERS = 8  # of a building that are told as points to measure from
CORNER = "{name}, corner {number}"


@dataclass(frozen=True)
class PackWords:
    """The words of a pack in the language of its reader: those of sheets, sights, and of corners."""

    sheet: Mapping[str, str]
    sights: Mapping[str, str]
    language: str = "en"
    corner: str = CORNER


PLAIN = PackWords(ROUND_WORDS, {word: sight.plain for word, sight in SIGHTS.items()})


def pack_of(store: Store, crew: CrewPass, words: PackWords = PLAIN) -> tuple[dict[str, Any], str]:
    """Return the pack of a team as plain data, and its tag: the same tag, the same pack.

    Raises
    ------
    NotFound
        If the round is no longer there.
    """
    view = view_of(store, crew.slug, LOCAL_MANAGER)  # the pack shows of it what its team may see
    now = planned_round(view, crew.round_id)
    with store.read() as connection:
        ground = FieldGround(view, connection, find_site(connection, crew.slug).fid)
    pack = _Packing(view, now, crew, ground, words).pack()
    tag = hashlib.sha256(json.dumps(pack, sort_keys=True).encode()).hexdigest()[:32]
    return {"format": FORMAT, "made_at": changes.now(), **pack}, tag


class _Packing:
    def __init__(
        self, view: SiteView, now: RoundNow, crew: CrewPass, ground: FieldGround, words: PackWords
    ) -> None:
        self.view, self.now, self.crew, self.ground, self.words = view, now, crew, ground, words
        self.trees = view.plain_trees[view.plain_trees["status"] != REMOVED].reset_index(drop=True)
        self.at = ground.at(self.trees)
        self.sheet = next((s for s in now.plan["sheets"] if s["crew_id"] == crew.crew_id), None)
        self.targets = [
            (str(row["name"] or row["kind"]), str(row["kind"]), ground.plane(row["geometry"]))
            for row in view.records.targets.to_dict("records")
            if row["geometry"] is not None
        ]

    def pack(self) -> dict[str, Any]:
        """Return the pack without its time."""
        view, now, terms = self.view, self.now, self.view.terms
        return {
            "today": view.as_of,
            "ends_at": self.crew.ends_at,
            "site": {
                "slug": terms.slug,
                "name": terms.name,
                "units": terms.units,
                "language": self.words.language,
                "time_zone": terms.time_zone,
                "phone": terms.phone,
                "breast_height_m": terms.breast_height_m,
                "who_is_qualified": terms.qualified,
            },
            "round": {
                name: getattr(now, name)
                for name in ("id", "name", "from_on", "to_on", "instrument", "unit", "height_m", "status")
            },
            "crew": {"id": self.crew.crew_id, "code": self.crew.code, "kind": self.crew.kind},
            "frame": frame_told(self.ground.frame, terms.frame == "local"),
            "map": self._map(),
            "trees": self._trees(),
            "sights": [
                {"word": word, "plain": self.words.sights[word], "danger": sight.danger}
                for word, sight in SIGHTS.items()
            ],
            "helper_says": list(HELPER_SAYS),
            "hand": {"counts": LAID, "fewest_times": FEWEST_TIMES},
        }

    def _map(self) -> dict[str, Any]:
        view, plane = self.view, self.ground.plane
        areas = view.areas[(view.areas["kind"] != "boundary") & view.areas["geometry"].notna()]
        closures = view.closures.to_dict("records") if len(view.closures) else []
        hazards = view.hazards.to_dict("records") if len(view.hazards) else []
        walk = rings_of(self._of_sheet("walk"))
        return {
            "box": self._box(),
            "outline": rings_of(self.ground.outline()),
            "areas": [
                {"name": name, "rings": rings_of(plane(shape))}
                for name, shape in zip(areas["name"], areas["geometry"], strict=True)
            ],
            "closed": [
                {"name": one["name"], "rings": rings_of(plane(one["geometry"]))}
                for one in closures
                if one["geometry"] is not None
            ],
            "hazards": [_hazard(one["kind"], plane(one["geometry"])) for one in hazards],
            "sector": rings_of(self._of_sheet("sector")) or None,
            "way": walk[0] if walk else None,
            "meeting": self._meeting(),
            "known": self._known(),
            "picture": self._picture(),
        }

    def _of_sheet(self, name: str) -> Any:
        said = self.sheet[name] if self.sheet else None
        return None if said is None else self.ground.plane(shapely.geometry.shape(said))

    def _meeting(self) -> dict[str, Any] | None:
        said = self.now.meeting.get("meeting_words")
        point = self.ground.point(self.now.meeting)
        if point is None:
            return {"x": None, "y": None, "words": said} if said else None
        return {"x": round(point[0], 2), "y": round(point[1], 2), "words": said}

    def _box(self) -> list[float]:
        """What the map shows: the trees, the outline, the meeting point, with a margin."""
        points = [self.at[np.isfinite(self.at).all(axis=1)]]
        shapes = [self.ground.outline(), self._of_sheet("sector")]
        points += [shapely.get_coordinates(shape) for shape in shapes if shape is not None]
        point = self.ground.point(self.now.meeting)
        points += [np.array([point])] if point is not None else []
        every = np.vstack(points)
        if not len(every):
            return [-_MARGIN_M, -_MARGIN_M, _MARGIN_M, _MARGIN_M]
        low, high = every.min(axis=0) - _MARGIN_M, every.max(axis=0) + _MARGIN_M
        return [round(float(number), 2) for number in (*low, *high)]

    def _known(self) -> list[dict[str, Any]]:
        """Named points from which the place of a new tree can be measured."""
        named = []
        for name, kind, shape in self.targets:
            corners = shapely.get_coordinates(shape)
            if shape.geom_type == "Point":
                named.append((name, corners[0]))
            elif kind == "building" and shape.geom_type == "Polygon" and len(corners) <= _MOST_CORNERS + 1:
                told = enumerate(corners[:-1], start=1)
                named += [(self.words.corner.format(name=name, number=n), at) for n, at in told]
        point = self.ground.point(self.now.meeting)
        if point is not None:
            named.append((self.now.meeting.get("meeting_words") or self.words.sheet["meeting"], point))
        return [{"name": name, "x": round(float(x), 2), "y": round(float(y), 2)} for name, (x, y) in named]

    def _picture(self) -> dict[str, Any] | None:
        image = shown_plan(self.view)
        corners: Corners | None = corners_of(image, self.ground.frame) if image is not None else None
        if image is None or corners is None:
            return None
        return {"address": PICTURE, "mark": f"{image.id}-{image.version}", "corners": corners}

    def _kind(self, row: Any) -> str | None:
        """The name of a tree, an everyday one in the words of the reader."""
        said = next((said for name in NAMES if (said := getattr(row, name))), None)
        return said and in_words(said, self.words.sheet)

    def _trees(self) -> list[dict[str, Any]]:
        view = self.view
        roles: dict[str, str] = {}  # one that comes twice, for practice and later, is gone to once
        for tree in self.sheet["trees"] if self.sheet else ():
            roles.setdefault(tree["tree_id"], tree["role"])
        order = {tree: n for n, tree in enumerate(roles)}
        where = self._where(list(roles))
        codes = tree_codes(view.records.trees["tree_id"])
        closed = {*view.closed_trees, *view.trees_in_danger}
        stems = self._stems(set(roles))
        out = []
        for row, (x, y) in zip(self.trees.itertuples(index=False), self.at.tolist(), strict=True):
            id = row.tree_id
            out.append(
                {
                    "id": id,
                    "tag": row.tag or None,
                    "code": codes.get(id),
                    "name": self._kind(row),
                    "where": where.get(id) or row.place or None,
                    "x": None if x != x else round(x, 2),
                    "y": None if y != y else round(y, 2),
                    "accuracy_m": _number(row.position_accuracy_m),
                    "role": self._role(roles.get(id)),
                    "order": order.get(id),
                    "closed": id in closed,
                    "stems": stems.get(id, []),
                }
            )
        return out

    def _role(self, role: str | None) -> str | None:
        is_hidden = role == REPEAT and self.crew.kind != _TRAINED
        return "first" if is_hidden else (PRACTICE if role == PRACTICE else role)

    def _stems(self, listed: set[str]) -> dict[str, list[dict[str, Any]]]:
        records, here = self.view.records, set(self.trees["tree_id"])
        stems = records.stems[records.stems["tree_id"].isin(here)].sort_values(["tree_id", "number"])
        mine = stems.loc[stems["tree_id"].isin(listed), "stem_id"]
        now, last = self.now, packing.last_readings(records.readings)
        how = packing.Measuring(
            now.instrument, now.unit, now.height_m, self.crew.code, self.crew.kind, now.id, self.view.as_of
        )
        expect = packing.expectations(records, self.view.terms, how, mine)
        out: dict[str, list[dict[str, Any]]] = {}
        for stem in stems.itertuples(index=False):
            before = last.get(stem.stem_id)
            said = expect.get(stem.stem_id)
            told = {"id": stem.stem_id, "number": int(stem.number), **packing.how_last(before)}
            told["expect"] = None if said is None else packing.plain(said)
            if self.crew.kind == _TRAINED:
                told["last"] = packing.size_last(before)
            out.setdefault(stem.tree_id, []).append(told)
        return out

    def _where(self, tree_ids: list[str]) -> dict[str, str]:
        """Where each tree of the sheet stands, in the words of the paper."""
        row_of = {tree: row for row, tree in enumerate(self.trees["tree_id"])}
        rows = [row_of[tree] for tree in tree_ids if tree in row_of]
        targets = list(self.targets)
        point = self.ground.point(self.now.meeting)
        if point is not None:
            targets.append((self.words.sheet["meeting"], "meeting", shapely.Point(point)))
        around = Ground(self.ground.outline(), tuple(targets))
        job = SheetJob(title="", round_name="")
        stems = self.view.records.stems.iloc[:0]
        state = self.view.state.stem_state.iloc[:0]
        maker = RowMaker(self.view.terms, job, stems, state, around, self.words.sheet)
        return {row.tree_id: row.where for row in maker.in_order(self.trees.iloc[rows], self.at[rows])}


def _hazard(kind: str, shape: Any) -> dict[str, Any]:
    is_area = shape is not None and "Polygon" in shape.geom_type
    return {"kind": kind, "rings" if is_area else "lines": rings_of(shape)}


def _number(value: Any) -> float | None:
    return None if value is None or value != value else round(float(value), 2)
