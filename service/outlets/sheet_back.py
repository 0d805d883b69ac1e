"""The back of a helpers' sheet: how the tape goes round a trunk, twice round, what to do at awkward trunks.

What slants or hangs reads too much and never too little (an ellipse is longer than its circle), so that the
two smallest of three readings are kept where two differ; the words for awkward trunks and their sources are
those of `layers.awkward_stems`.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from fpdf import FPDF

from layers import stop_card
from layers.inputs import SiteTerms
from layers.units import height_words
from service.outlets.back_words import AWKWARD
from service.outlets.sheet_layout import FONT, MARGIN, PAPER_MM, RED, TOP, fitted
from service.outlets.sheet_rows import SheetJob

_NOT_WRAPPED = {"caliper", "sighting", "eye"}
_TAPE_MM = 1.1
_HALF_MM = 9.0  # half the width of a drawn trunk
_STEPS = ("look", "guess", "find", "round", "read", "again", "tick")


@dataclass(frozen=True)
class SheetBack:
    """The back of a sheet, ready to be drawn."""

    pdf: FPDF
    terms: SiteTerms
    job: SheetJob
    words: Mapping[str, str]

    @property
    def width(self) -> float:
        """Width between the margins [mm]."""
        return PAPER_MM[self.job.paper][0] - 2 * MARGIN

    def draw(self) -> None:
        """Draw it on a new page."""
        pdf, words = self.pdf, self.words
        pdf.add_page()
        pdf.set_draw_color(0)
        pdf.set_font(FONT, style="B", size=15)
        pdf.text(MARGIN, TOP + 7, words["back.title"])
        y = TOP + 13
        if self.job.instrument not in _NOT_WRAPPED:
            self._pictures(y)
            y += 60
        y = self._steps(y + 3)
        y = self._awkward(y + 3)
        self._stop(y + 3)

    def _pictures(self, y: float) -> None:
        """A tape that is level, one that slants and one that hangs; the latter two crossed out."""
        pdf, wide = self.pdf, (self.width - 8) / 3
        for place, name in enumerate(("level", "slant", "slack")):
            x = MARGIN + place * (wide + 4)
            pdf.set_line_width(0.3)
            pdf.rect(x, y, wide, 45)
            middle, ground = x + wide * (0.42 if name == "level" else 0.5), y + 41
            _trunk(pdf, middle, ground, y + 3)
            line = ground - 24
            _tape(
                pdf, middle, line, slant=7.0 if name == "slant" else 0.0, sag=6.0 if name == "slack" else 0.0
            )
            if name == "level":
                self._height(middle + _HALF_MM + 8, line, ground)
            else:
                pdf.set_line_width(0.6)
                pdf.line(x + 3, y + 3, x + 10, y + 10)
                pdf.line(x + 3, y + 10, x + 10, y + 3)
            pdf.set_font(FONT, style="B" if name == "level" else "", size=9)
            pdf.set_xy(x, y + 46)
            pdf.multi_cell(wide, 4.2, self.words[f"back.{name}"], align="L")

    def _height(self, x: float, line: float, ground: float) -> None:
        pdf = self.pdf
        pdf.set_line_width(0.25)
        pdf.set_fill_color(0)
        pdf.line(x, line, x, ground)
        pdf.line(x - 4, line, x + 1.5, line)
        for tip, way in ((line, 1), (ground, -1)):
            pdf.polygon([(x, tip), (x - 0.9, tip + 2 * way), (x + 0.9, tip + 2 * way)], style="F")
        pdf.set_font(FONT, style="B", size=8)
        pdf.text(x + 1.5, (line + ground) / 2 + 1, height_words(self.job.height_m, self.terms.units))

    def _steps(self, y: float) -> float:
        """The steps in their order, numbered; return where they end [mm]."""
        pdf = self.pdf
        for number, name in enumerate(self._named(), start=1):
            pdf.set_font(FONT, style="B", size=12)
            pdf.text(MARGIN, y + 4.4, str(number))
            pdf.set_font(FONT, size=10)
            pdf.set_xy(MARGIN + 7, y)
            height = height_words(self.job.height_m, self.terms.units)
            text = self.words[f"back.{name}"].replace("{height}", height)
            pdf.multi_cell(self.width - 7, 5.0, text, align="L", new_x="LMARGIN", new_y="NEXT")
            y = pdf.get_y() + 1.4
        return y

    def _named(self) -> list[str]:
        steps = list(_STEPS)
        if self.job.instrument in _NOT_WRAPPED:
            return ["look", "guess", "find", "across", "tick"]
        if self.job.instrument == "string and ruler":
            steps[steps.index("read")] = "goes"
        if self.job.instrument in ("hand breadths", "hand spans"):
            steps.remove("read")
        return steps

    def _awkward(self, y: float) -> float:
        pdf, words = self.pdf, self.words
        pdf.set_font(FONT, style="B", size=11)
        pdf.text(MARGIN, y + 4, words["back.if"])
        y += 7
        wide = self.width * 0.4
        pdf.set_line_width(0.2)
        for key in AWKWARD:
            pdf.line(MARGIN, y, MARGIN + self.width, y)
            pdf.set_font(FONT, style="B", size=9)
            pdf.set_xy(MARGIN, y + 1.2)
            pdf.multi_cell(wide - 3, 4.3, words[f"awkward.{key}"], align="L", new_x="LMARGIN", new_y="NEXT")
            low = pdf.get_y()
            pdf.set_font(FONT, size=9)
            pdf.set_xy(MARGIN + wide, y + 1.2)
            pdf.multi_cell(
                self.width - wide, 4.3, words[f"awkward.{key}.rule"], align="L", new_x="LMARGIN", new_y="NEXT"
            )
            y = max(low, pdf.get_y()) + 1.2
        pdf.line(MARGIN, y, MARGIN + self.width, y)
        return y

    def _stop(self, y: float) -> None:
        """Whom to call, once more: a sheet is turned over."""
        pdf, words = self.pdf, self.words
        pdf.set_draw_color(*RED)
        pdf.set_line_width(1.2)
        pdf.rect(MARGIN, y, self.width, 14)
        pdf.set_draw_color(0)
        pdf.set_font(FONT, style="B", size=10)
        pdf.text(MARGIN + 3, y + 6, fitted(pdf, words["stop"], self.width - 6))
        called = stop_card.call(self.terms.phone, words["stop_call"], words["no_phone"])
        pdf.text(MARGIN + 3, y + 11.2, fitted(pdf, called, self.width - 6))


def _trunk(pdf: FPDF, middle: float, ground: float, top: float) -> None:
    pdf.set_line_width(0.35)
    pdf.line(middle - 24, ground, middle + 24, ground)
    for side in (-1, 1):
        foot = [
            (side * (_HALF_MM + 5.5), ground),
            (side * (_HALF_MM + 1), ground - 5),
            (side * _HALF_MM, ground - 12),
        ]
        pdf.polyline([(middle + x, y) for x, y in [*foot, (side * (_HALF_MM - 0.6), top)]])


def _tape(pdf: FPDF, middle: float, line: float, slant: float, sag: float) -> None:
    """A tape round a trunk: its front thick, what is behind the trunk in dots.

    ``slant`` is how much higher its right side is, ``sag`` how far its front hangs [mm].
    """
    half, deep = _HALF_MM + 0.3, 2.2

    def along(turns: float) -> tuple[float, float]:
        across, front = math.cos(turns), math.sin(turns)
        hangs = sag * max(front, 0.0) ** 2
        wide = half + (1.2 if sag else 0.0) * abs(across)
        return middle + wide * across, line - slant * across / 2 + deep * front + hangs

    steps = [math.pi * n / 24 for n in range(25)]
    pdf.set_line_width(0.35)
    pdf.set_dash_pattern(dash=0.8, gap=0.8)
    pdf.polyline([along(-turn) for turn in steps])
    pdf.set_dash_pattern()
    pdf.set_line_width(_TAPE_MM)
    pdf.polyline([along(turn) for turn in steps])
