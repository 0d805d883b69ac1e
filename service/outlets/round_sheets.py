"""The paper of a round: the day page, then each team's sheets in the order of its walk; found by code."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import pandas as pd
import shapely

from layers.round_plan import PRACTICE, REPEAT
from service.errors import InvalidRequest
from service.outlets.day_sheet import DayJob, DaySheet, TeamLine
from service.outlets.day_words import DAY_WORDS
from service.outlets.sheet_back import SheetBack
from service.outlets.sheet_layout import PAPER_MM, SheetPage, left_out_page, rows_a_sheet
from service.outlets.sheet_rows import Ground, RowMaker, Sector, SheetJob, SheetRow
from service.outlets.sheet_words import SHEET_WORDS
from service.outlets.sheets import bare_code, code_of, new_paper
from service.round_days import RoundNow, planned_round
from service.round_ground import RoundGround
from service.view import SiteView

ROUND_WORDS: dict[str, str] = {**SHEET_WORDS, **DAY_WORDS}


@dataclass(frozen=True)
class RoundPaper:
    """What is printed of a round: days and lines in words, the kit, what is left out and why; for whom."""

    days: str
    meet: str | None
    lines: Mapping[str, Any]
    kit: Sequence[tuple[str, int]]
    left_out: Sequence[tuple[str, str]]
    speed: str
    paper: Literal["A4", "Letter"] = "A4"
    leader: bool = False
    backs: bool = False


def round_pdf(
    view: SiteView, now: RoundNow, job: RoundPaper, words: Mapping[str, str] = ROUND_WORDS
) -> bytes:
    """Return the paper of a round as PDF: the day page and the sheets of all teams.

    The leader's copy has last sizes, what to expect, and which trees two teams measure.

    Raises
    ------
    InvalidRequest
        If no tree is on a sheet.
    StoreUnavailable
        If the fonts are not beside the program.
    """
    if not any(sheet["trees"] for sheet in now.plan["sheets"]):
        raise InvalidRequest("No tree is on a sheet of these measuring days. Plan them again.")
    return _Maker(view, now, job, {**ROUND_WORDS, **words}).pdf()


class _Maker:
    def __init__(self, view: SiteView, now: RoundNow, job: RoundPaper, words: Mapping[str, str]) -> None:
        self.view, self.now, self.job, self.words = view, now, job, words
        self.ground = RoundGround(view)
        self.meeting = self.ground.point(now.meeting)
        self.around = self._around()

    def pdf(self) -> bytes:
        is_one_day = self.now.to_on in (None, self.now.from_on)
        job = SheetJob(
            title=self.now.name,
            round_name=self.now.name,
            instrument=self.now.instrument,
            unit=self.now.unit,  # type: ignore[arg-type]
            height_m=self.now.height_m,
            day=self.now.from_on if is_one_day else None,
            day_said=self.job.days if is_one_day else None,
            meet=self.job.meet,
            paper=self.job.paper,
            leader=self.job.leader,
            backs=self.job.backs,
        )
        paper = new_paper(self.view.terms, job)
        self._day_page(paper)
        self._back(paper, job)
        for sheet in self.now.plan["sheets"]:
            page = self._team(paper, job, sheet)
        if self.job.leader:
            left_out_page(page, list(self.job.left_out))
        return bytes(paper.output())

    def _around(self) -> Ground:
        """What is around the trees, in the metres of the plan; the meeting point is one of the things."""
        view, plane = self.view, self.ground.plane
        named = [(str(t.name or t.kind), str(t.kind), t.geometry) for t in view.records.targets.itertuples()]
        targets = [(name, kind, plane(shape)) for name, kind, shape in named if shape is not None]
        if self.meeting is not None:
            targets.append((self.words["meeting"], "meeting", shapely.Point(self.meeting)))
        hazards = view.hazards.to_dict("records") if len(view.hazards) else []
        closures = view.closures["geometry"].dropna() if len(view.closures) else []
        return Ground(
            self.ground.outline(),
            tuple(targets),
            tuple((f"hazard.{row['kind']}", plane(row["geometry"])) for row in hazards),
            tuple(plane(shape) for shape in closures),
        )

    def _day_page(self, paper: Any) -> None:
        now, plan = self.now, self.now.plan
        teams = [
            TeamLine(
                now.codes.get(sheet["crew_id"], ""),
                now.kinds.get(sheet["crew_id"], "volunteers"),
                len({tree["tree_id"] for tree in sheet["trees"]}),
                sheet["minutes"],
                sheet["way_m"],
                self.ground.plane(_shape(sheet["sector"])),
            )
            for sheet in plan["sheets"]
        ]
        day = DayJob(
            name=now.name,
            days=self.job.days,
            meet=self.job.meet,
            lines=self.job.lines,
            kit=self.job.kit,
            teams=teams,
            speed=self.job.speed,
            timed_gaps=plan["timed_gaps"],
            started_anyway=now.started_anyway,
            paper=self.job.paper,
        )
        ids = {tree["tree_id"] for sheet in plan["sheets"] for tree in sheet["trees"]}
        at = self.ground.at(self.view.trees[self.view.trees["tree_id"].isin(ids)])
        spots = [(float(x), float(y)) for x, y in at if x == x]
        around = replace(self.around, targets=tuple(t for t in self.around.targets if t[1] != "meeting"))
        DaySheet(paper, self.view.terms, day, self.words).draw(around, spots, self.meeting)

    def _team(self, paper: Any, job: SheetJob, sheet: Mapping[str, Any]) -> SheetPage:
        """Draw the sheets of a team; return the last one."""
        own = replace(job, team=self.now.codes.get(sheet["crew_id"]))
        maker = RowMaker(
            self.view.terms, own, self.view.records.stems, self.view.state.stem_state, self.around, self.words
        )
        trees, roles = _listed(self.view.trees, sheet)
        rows = maker.in_order(trees, self.ground.at(trees))
        rows = [self._marked(row, roles[row.number - 1]) for row in rows]
        most = rows_a_sheet(own.paper)
        parts = [rows[start : start + most] for start in range(0, len(rows), most)] or [[]]
        for number, part in enumerate(parts, start=1):
            trunks = [row.stem_id or row.tree_id for row in part]
            code = code_of(self.view.terms, [sheet["crew_id"], *trunks])
            page = SheetPage(paper, self.view.terms, own, self.words, code, number, len(parts))
            page.draw(Sector(tuple(part)), self.around)
            self._back(paper, own)
        return page

    def _back(self, paper: Any, job: SheetJob) -> None:
        """How to measure, on the back of a page where that is asked for."""
        if job.has_backs:
            SheetBack(paper, self.view.terms, job, self.words).draw()

    def _marked(self, row: SheetRow, role: str) -> SheetRow:
        """Practice trees are marked on every sheet; trees of two teams on the leader's copy only."""
        if role == PRACTICE:
            return replace(row, what=f"{self.words['practice']}: {row.what}")
        if role == REPEAT and self.job.leader:
            return replace(row, what=f"{self.words['twice']}: {row.what}")
        return row


def _shape(geometry: Any) -> Any:
    return None if geometry is None else shapely.geometry.shape(geometry)


def _listed(trees: pd.DataFrame, sheet: Mapping[str, Any]) -> tuple[pd.DataFrame, list[str]]:
    """The trees of a sheet in its order, with the role of each; one that is no longer there is left away."""
    row_of = {tree: row for row, tree in enumerate(trees["tree_id"])}
    said = [tree for tree in sheet["trees"] if tree["tree_id"] in row_of]
    return trees.iloc[[row_of[tree["tree_id"]] for tree in said]], [tree["role"] for tree in said]


@dataclass(frozen=True)
class FoundSheet:
    """A sheet of a round that a code names: the round, the team, and its rows as far as typing needs them."""

    now: RoundNow
    crew_id: str
    sector: Sector


def round_sheet_with(view: SiteView, code: str) -> FoundSheet | None:
    """Return the sheet of a round that a code names; None where there is none.

    A round that was planned anew since has other sheets.
    """
    asked = bare_code(code)
    rounds = view.records.rounds
    planned = rounds.loc[rounds["plan"].notna(), "id"] if len(rounds) else []
    stems = view.records.stems.sort_values(["tree_id", "number"], kind="stable")
    stems_of = {str(tree): list(ids) for tree, ids in stems.groupby("tree_id")["stem_id"]}
    here = frozenset(view.trees["tree_id"])
    for round_id in planned:
        now = planned_round(view, round_id)
        for sheet in now.plan["sheets"]:
            for part in _parts(here, sheet, stems_of):
                trunks = [row.stem_id or row.tree_id for row in part]
                if bare_code(code_of(view.terms, [sheet["crew_id"], *trunks])) == asked:
                    return FoundSheet(now, sheet["crew_id"], Sector(tuple(part)))
    return None


def _parts(
    here: frozenset[str], sheet: Mapping[str, Any], stems_of: Mapping[str, Sequence[str]]
) -> Iterator[list[SheetRow]]:
    """What the sheets of a team hold, on both papers."""
    trees = [tree["tree_id"] for tree in sheet["trees"] if tree["tree_id"] in here]
    rows = [
        SheetRow(number, tree, "", "", "", float("nan"), float("nan"), stem)
        for number, tree in enumerate(trees, start=1)
        for stem in stems_of.get(tree) or [""]
    ]
    for most in sorted({rows_a_sheet(paper) for paper in PAPER_MM}):
        yield from (rows[start : start + most] for start in range(0, len(rows), most))
