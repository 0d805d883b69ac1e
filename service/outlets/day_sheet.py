"""The first sheet of a round: what has to be settled before anybody measures, the kit, teams and sectors."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fpdf import FPDF

from layers.caution import caution
from layers.cautions import LONG
from layers.inputs import SiteTerms
from layers.units import M_PER_FT
from service.outlets.day_map import DayMap
from service.outlets.sheet_layout import FONT, MARGIN, PAPER_MM, TOP, fitted
from service.outlets.sheet_rows import Ground

_LINE = 6.1
_COLUMNS = (("team", 22.0), ("kind", 42.0), ("trees", 15.0), ("minutes", 21.0), ("way", 19.0))
_EMPTY = (("back", 30.0), ("counted", 30.0))


@dataclass(frozen=True)
class TeamLine:
    """A team on the day page: code, kind, trees, minutes [min], way [m], outline of its sector [m]."""

    code: str
    kind: str
    trees: int
    minutes: float
    way_m: float
    sector: Any


@dataclass(frozen=True)
class DayJob:
    """What a day page says: the round, its days, the lines that were filled in, its teams, the kit.

    ``lines`` are those of the day page, days in words; ``timed_gaps`` how many times between trees the
    minutes rest on, 0 where they are assumptions; ``speed`` in words.
    """

    name: str
    days: str
    meet: str | None
    lines: Mapping[str, Any]
    kit: Sequence[tuple[str, int]]
    teams: Sequence[TeamLine]
    speed: str
    timed_gaps: int = 0
    started_anyway: str | None = None
    paper: str = "A4"


@dataclass(frozen=True)
class DaySheet:
    """The day page, ready to be drawn."""

    pdf: FPDF
    terms: SiteTerms
    job: DayJob
    words: Mapping[str, str]

    @property
    def width(self) -> float:
        """Width between the margins [mm]."""
        return PAPER_MM[self.job.paper][0] - 2 * MARGIN

    def draw(
        self,
        around: Ground,
        spots: Sequence[tuple[float, float]],
        meeting: tuple[float, float] | None,
    ) -> None:
        """Draw it on a new page.

        Parameters
        ----------
        around : Ground
            What the map shows besides the trees [m].
        spots : sequence of (x, y)
            The trees of all teams [m].
        meeting : tuple, optional
            Where everybody meets [m].
        """
        pdf = self.pdf
        pdf.add_page()
        pdf.set_font(FONT)
        self._title()
        low = self._lines(TOP + 11.0)
        low = max(low, self._kit(TOP + 11.0))
        low = self._cautions(low + 2.0)
        low = self._teams(low + 2.0)
        bottom = PAPER_MM[self.job.paper][1] - TOP - 9.0
        box = (MARGIN, low + 2.0, self.width, bottom - low - 6.0)
        sectors = [(team.code, team.sector) for team in self.job.teams]
        DayMap(
            pdf, box, around, self.words, self.terms.units, spots=spots, sectors=sectors, meeting=meeting
        ).draw()
        pdf.set_font(size=6.5)
        pdf.text(MARGIN, bottom - 1.2, fitted(pdf, self.words["map_note"], self.width))
        pdf.set_xy(MARGIN, bottom + 0.8)
        pdf.set_font(size=6)
        said = caution(self.terms.phone, self.words["caution"], self.words["no_phone"])
        pdf.multi_cell(self.width, 2.6, said, align="L")

    def _title(self) -> None:
        pdf, words = self.pdf, self.words
        pdf.set_font(style="B", size=12)
        said = f"{words['day_title']}: {self.job.name} · {self.terms.name}"
        pdf.text(MARGIN, TOP + 4.5, fitted(pdf, said, self.width - 40))
        right = words["day_leader"]
        pdf.set_font(size=9)
        pdf.text(MARGIN + self.width - pdf.get_string_width(right), TOP + 4.5, right)

    def _lines(self, top: float) -> float:
        """The lines to fill in, in the left two thirds; what is known is printed. Return where they end."""
        job, words, said, width = self.job, self.words, self.job.lines, self.width * 0.68
        half, y = width / 2, top
        self._pair(y, width, ("days", job.days), ("fall_back_on", said.get("fall_back_on")))
        self._pair(y + _LINE, width, ("leader", None), ("stand_in", None))
        self.pdf.set_font(size=5.8)
        self.pdf.text(MARGIN, y + 1.5 * _LINE + 0.2, words["by_hand"])
        y += 2.5 * _LINE
        asked = ("permission", said.get("permission_asked_on"))
        self._pair(y, width, asked, ("given", said.get("permission_given_on")))
        y += _LINE
        self._fact(MARGIN, y, width * 0.66, words["tree_check"], said.get("tree_check_by"))
        self._fact(MARGIN + width * 0.68, y, width * 0.32, words["on"], said.get("tree_check_on"))
        self.pdf.set_font(size=5.8)
        within = words["within"].format(days=said.get("tree_check_days"))
        self.pdf.text(MARGIN, y + 2.9, within)
        y += 1.35 * _LINE
        limit, wind = ("wind_limit", self.terms.wind_limit), ("wind_reading", said.get("wind_reading"))
        for word, value in (limit, wind, ("who_calls", said.get("who_calls") or self.terms.phone)):
            self._fact(MARGIN, y, width, words[word], value)
            y += _LINE
        for left, right in (("first_aid", "toilets"), ("water", "meeting")):
            self._pair(y, width, (left, said.get(left)), (right, said.get(right) or self._meet(right)))
            y += _LINE
        if job.started_anyway:
            self._fact(MARGIN, y, width, words["started_anyway"], job.started_anyway)
            y += _LINE
        if said.get("note"):
            self._fact(MARGIN, y, half * 2, words["note"], said["note"])
            y += _LINE
        return y - _LINE + 1.0

    def _meet(self, word: str) -> str | None:
        return self.job.meet if word == "meeting" else None

    def _pair(self, y: float, width: float, left: tuple[str, Any], right: tuple[str, Any]) -> None:
        half = width / 2
        self._fact(MARGIN, y, half - 2, self.words[left[0]], left[1])
        self._fact(MARGIN + half, y, half, self.words[right[0]], right[1])

    def _fact(self, x: float, y: float, width: float, word: str, value: Any) -> None:
        """A word and what is known of it; a line to write on where nothing is."""
        pdf = self.pdf
        pdf.set_font(size=7.5)
        pdf.text(x, y, f"{word}:")
        at = x + pdf.get_string_width(f"{word}:") + 1.5
        if value:
            pdf.set_font(style="B", size=8)
            pdf.text(at, y, fitted(pdf, str(value), x + width - at))
        else:
            pdf.set_line_width(0.2)
            pdf.line(at, y + 0.5, max(at + 6, x + width), y + 0.5)

    def _kit(self, top: float) -> float:
        """What is taken along, counted, each with a box to tick."""
        pdf, words, x = self.pdf, self.words, MARGIN + self.width * 0.72
        pdf.set_font(style="B", size=8.5)
        pdf.text(x, top, words["kit"])
        y = top + 5.2
        for word, count in self.job.kit:
            pdf.set_line_width(0.2)
            pdf.rect(x, y - 2.7, 3.0, 3.0)
            pdf.set_font(style="B", size=8)
            number = str(count)
            pdf.text(x + 9.0 - pdf.get_string_width(number), y, number)
            pdf.set_font(size=8)
            pdf.text(x + 10.5, y, fitted(pdf, words[f"kit.{word}"], self.width * 0.28 - 10.5))
            y += 5.0
        return y - 3.0

    def _cautions(self, top: float) -> float:
        """Two boxes to tick: allergies, and the long caution with the names of its points."""
        y = self._tick(top + 3.0, self.words["allergies"], self.job.lines.get("allergies_asked"))
        y = self._tick(y + 1.6, self.words["caution_read"], self.job.lines.get("caution_read"))
        pdf = self.pdf
        pdf.set_font(size=6.5)
        pdf.set_xy(MARGIN + 4.5, y - 1.0)
        points = " · ".join(self.words[f"point.{point.key}"] for point in LONG)
        pdf.multi_cell(self.width - 5, 3.0, points, align="L")
        return float(pdf.get_y())

    def _tick(self, y: float, text: str, is_ticked: Any) -> float:
        pdf = self.pdf
        pdf.set_line_width(0.25)
        pdf.rect(MARGIN, y - 2.7, 3.2, 3.2)
        if is_ticked:
            pdf.line(MARGIN + 0.6, y - 2.1, MARGIN + 2.6, y - 0.1)
            pdf.line(MARGIN + 0.6, y - 0.1, MARGIN + 2.6, y - 2.1)
        pdf.set_font(size=7.8)
        pdf.text(MARGIN + 4.8, y, fitted(pdf, text, self.width - 5))
        return y + 3.0

    def _teams(self, top: float) -> float:
        """A row a team, with boxes for when it is back; how the minutes came about below. Return the end."""
        pdf, words = self.pdf, self.words
        columns = [*_COLUMNS, *_EMPTY]
        scale = self.width / sum(share for _name, share in columns)
        high = min(5.2, 62.0 / max(1, len(self.job.teams)))
        x, y = MARGIN, top
        pdf.set_line_width(0.2)
        pdf.set_fill_color(235)
        for name, share in columns:
            pdf.rect(x, y, share * scale, 5.0, style="DF")
            pdf.set_font(style="B", size=7)
            pdf.text(x + 1, y + 3.5, fitted(pdf, words[f"head.{name}"], share * scale - 1.5))
            x += share * scale
        y += 5.0
        for team in self.job.teams:
            self._team(team, columns, scale, y, high)
            y += high
        pdf.set_font(size=6.5)
        timed = words["timed"].format(gaps=self.job.timed_gaps)
        assumed = words["assumed"].format(speed=self.job.speed)
        told = f"{timed if self.job.timed_gaps else assumed} {words['at_each']}"
        pdf.text(MARGIN, y + 3.4, fitted(pdf, told, self.width))
        return y + 4.0

    def _team(
        self, team: TeamLine, columns: Sequence[tuple[str, float]], scale: float, y: float, high: float
    ) -> None:
        pdf, x = self.pdf, MARGIN
        cells = {
            "team": team.code,
            "kind": self.words[team.kind],
            "trees": str(team.trees),
            "minutes": self.words["minutes"].format(minutes=round(team.minutes)),
            "way": way_words(team.way_m, self.terms.units),
        }
        for name, share in columns:
            pdf.rect(x, y, share * scale, high)
            pdf.set_font(style="B" if name == "team" else "", size=min(7.5, high * 1.5))
            pdf.text(x + 1, y + high * 0.68, fitted(pdf, cells.get(name, ""), share * scale - 1.5))
            x += share * scale


def way_words(metres: float, units: str) -> str:
    """Return the length of a walk, to ten metres or feet."""
    number, unit = (metres / M_PER_FT, "ft") if units == "us" else (metres, "m")
    return f"{round(number, -1):.0f} {unit}"
