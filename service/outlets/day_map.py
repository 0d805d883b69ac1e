"""The map of a day page: the sectors of all teams with their codes, the trees, where everybody meets."""

from collections.abc import Mapping, Sequence
from typing import Any

import shapely
from fpdf import FPDF

from service.outlets.sheet_map import Box, SectorMap, draw_shape
from service.outlets.sheet_rows import Ground, Sector, SheetRow

_DOT_MM = 0.55


class DayMap(SectorMap):
    """Draws the sectors of all teams; what is around them, closures, hazards, north and scale as on sheets.

    Parameters
    ----------
    pdf, box, around, words, units
        As of `SectorMap`.
    spots : sequence of (x, y)
        The trees of all teams [m].
    sectors : sequence of (code, shape)
        Code of each team and the outline of its sector [m].
    meeting : tuple, optional
        Where everybody meets [m].
    """

    def __init__(
        self,
        pdf: FPDF,
        box: Box,
        around: Ground,
        words: Mapping[str, str],
        units: str,
        *,
        spots: Sequence[tuple[float, float]],
        sectors: Sequence[tuple[str, Any]],
        meeting: tuple[float, float] | None,
    ) -> None:
        every = [*spots, *([meeting] if meeting else [])]
        rows = [SheetRow(n, "", "", "", "", x, y) for n, (x, y) in enumerate(every, start=1)]
        super().__init__(pdf, box, Sector(tuple(rows)), around, words, units)
        self.spots, self.sectors, self.meeting = spots, sectors, meeting

    def _dots(self) -> None:
        pdf = self.pdf
        pdf.set_fill_color(0)
        pdf.set_draw_color(0)
        pdf.set_line_width(0.5)
        for _code, shape in self.sectors:
            if shape is not None and not shape.is_empty:
                draw_shape(pdf, shape, self._at, filled=False)
        for x, y in self.spots:
            pdf.circle(*self._at(x, y), _DOT_MM, style="F")
        for code, shape in self.sectors:
            if shape is not None and not shape.is_empty:
                self._plate(code, shape.representative_point())
        if self.meeting is not None:
            x, y = self._at(*self.meeting)
            pdf.set_fill_color(255)
            pdf.circle(x, y, 2.0, style="DF")
            pdf.set_fill_color(0)
            pdf.circle(x, y, 1.0, style="F")
            self._plate(self.words["meeting"], shapely.Point(self.meeting), below=3.6)

    def _plate(self, text: str, spot: Any, below: float = 0.0) -> None:
        """A word on a white plate, inside the map."""
        pdf = self.pdf
        pdf.set_font(style="B", size=7.5)
        width, (x, y) = pdf.get_string_width(text) + 2, self._at(spot.x, spot.y)
        left, top, wide, high = self.box
        x = min(max(x - width / 2, left + 0.5), left + wide - width - 0.5)
        y = min(max(y + below - 1.8, top + 0.5), top + high - 4.1)
        pdf.set_fill_color(255)
        pdf.set_line_width(0.15)
        pdf.rect(x, y, width, 3.6, style="DF")
        pdf.set_fill_color(0)
        pdf.text(x + 1, y + 2.7, text)

    def _inset(self) -> None:
        """The map shows all there is."""
