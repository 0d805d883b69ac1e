"""The small map and the pictures of a measuring sheet, drawn as vectors; everything prints in grey."""

import math
from typing import Any

import shapely
from fpdf import FPDF

from layers.units import M_PER_FT
from service.outlets.sheet_rows import Ground, Sector, Words

Box = tuple[float, float, float, float]  # x, y, width, height on the paper [mm]

DOT_MM = 0.8
LEAST_GROUND_M = 15.0
BUILT = {"building", "play equipment"}
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
AROUND = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1))


class SectorMap:
    """Draws the trees of a sheet with their numbers, what is around them, north and a scale.

    Parameters
    ----------
    pdf : FPDF
        The paper.
    box : tuple
        Where on the page [mm].
    sector, around : Sector, Ground
        What is drawn [m].
    words : mapping
        The words of the sheet.
    units : str
        metric or us: the scale's unit.
    """

    def __init__(self, pdf: FPDF, box: Box, sector: Sector, around: Ground, words: Words, units: str) -> None:
        self.pdf, self.box, self.around, self.words, self.units = pdf, box, around, words, units
        self.trees = {row.number: row for row in sector.rows if math.isfinite(row.x)}

    def draw(self) -> None:
        """Draw it; a sentence where no tree has a place."""
        pdf, (x, y, width, height) = self.pdf, self.box
        pdf.set_draw_color(0)
        pdf.set_line_width(0.3)
        pdf.rect(x, y, width, height)
        pdf.set_font(size=6.5)
        if not self.trees:
            pdf.set_xy(x + 2, y + height / 2 - 3)
            pdf.multi_cell(width - 4, 3.5, self.words["no_map"], align="C")
            return
        self._fit()
        self.taken = [
            _box_at(self._at(row.x, row.y), (2 * DOT_MM, 2 * DOT_MM)) for row in self.trees.values()
        ]
        with pdf.rect_clip(x, y, width, height):
            self._ground()
            self._hazards()
            self._closures()
        self._dots()
        self._named()
        self._north()
        self._scale()
        self._inset()

    def _fit(self) -> None:
        xs, ys = [t.x for t in self.trees.values()], [t.y for t in self.trees.values()]
        self.middle = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
        wide = max(max(xs) - min(xs), LEAST_GROUND_M) * 1.12
        high = max(max(ys) - min(ys), LEAST_GROUND_M) * 1.12
        self.mm_per_m = min((self.box[2] - 8) / wide, (self.box[3] - 14) / high)

    def _at(self, x_m: float, y_m: float) -> tuple[float, float]:
        x, y, width, height = self.box
        return (
            x + width / 2 + (x_m - self.middle[0]) * self.mm_per_m,
            y + height / 2 - 2 - (y_m - self.middle[1]) * self.mm_per_m,
        )

    def _ground(self) -> None:
        pdf = self.pdf
        for _, kind, shape in self.around.targets:
            pdf.set_draw_color(130)
            pdf.set_fill_color(225)
            pdf.set_line_width(0.25)
            draw_shape(pdf, shape, self._at, filled=kind in BUILT)
        pdf.set_draw_color(0)
        pdf.set_line_width(0.5)
        if self.around.outline is not None:
            draw_shape(pdf, self.around.outline, self._at, filled=False)

    def _hazards(self) -> None:
        """What endangers people: lines of dashes and dots with their words."""
        pdf = self.pdf
        for _, shape in self.around.hazards:
            pdf.set_draw_color(0)
            pdf.set_line_width(0.5)
            pdf.set_dash_pattern(dash=2.4, gap=1.2)
            draw_shape(pdf, shape, self._at, filled=False)
            pdf.set_dash_pattern()

    def _closures(self) -> None:
        """What is closed, hatched over everything else; slanting lines 2 mm apart."""
        pdf = self.pdf
        for shape in self.around.closures:
            pdf.set_draw_color(0)
            pdf.set_line_width(0.25)
            draw_shape(
                pdf, shapely.MultiLineString(_hatching(shape, 2.8 / self.mm_per_m)), self._at, filled=False
            )
            pdf.set_line_width(0.8)
            draw_shape(pdf, shape.boundary, self._at, filled=False)

    def _named(self) -> None:
        """The names of things: first what keeps people away and where all meet, then the others."""
        for shape in self.around.closures:
            self._label(self.words["closed_map"], shape)
        for word, shape in self.around.hazards:
            self._label(self.words[word], shape)
        for name, _, shape in sorted(self.around.targets, key=lambda target: target[1] != "meeting"):
            self._label(name, shape)

    def _label(self, name: str, shape: Any) -> None:
        """The name of a thing where it is on the map, in grey, clear of other words where there is room."""
        x, y, width, height = self.box
        half_x, half_y = width / 2 / self.mm_per_m, height / 2 / self.mm_per_m
        seen = shape.intersection(
            shapely.box(
                self.middle[0] - half_x,
                self.middle[1] - half_y,
                self.middle[0] + half_x,
                self.middle[1] + half_y,
            )
        )
        if seen.is_empty:
            return
        spot = seen.representative_point()
        self.pdf.set_font(size=5.5)
        self.pdf.set_text_color(90)
        text, (at_x, at_y) = name[:40], self._at(spot.x, spot.y)
        room = self.pdf.get_string_width(text) / 2 + 1
        boxes = []
        for aside in (0.0, room + 1.0, -room - 1.0):
            middle = min(max(at_x + aside, x + room), x + width - room)
            for down in (3.0, -1.6, 0.9, 5.4, -4.0):
                low = min(max(at_y + down, y + 3), y + height - 2)
                boxes.append((middle - room + 1, low - 1.9, middle + room - 1, low + 0.5))
        free = [box for box in boxes if not any(_meet(box, other) for other in self.taken)]
        chosen = (free or boxes)[0]
        self.taken.append(chosen)
        self.pdf.text(chosen[0], chosen[3] - 0.5, text)
        self.pdf.set_text_color(0)

    def _dots(self) -> None:
        pdf = self.pdf
        pdf.set_fill_color(0)
        pdf.set_font(style="B", size=6.5)
        spots = {number: self._at(row.x, row.y) for number, row in self.trees.items()}
        for number, spot in spots.items():
            pdf.circle(spot[0], spot[1], DOT_MM, style="F")
            size = (pdf.get_string_width(str(number)) + 0.3, 2.3)
            choices = [_beside(spot, size, side) for side in AROUND]
            free = [box for box in choices if not any(_meet(box, other) for other in self.taken)]
            chosen = (free or choices)[0]
            self.taken.append(chosen)
            pdf.text(chosen[0], chosen[3] - 0.3, str(number))

    def _north(self) -> None:
        pdf, x, y = self.pdf, self.box[0] + self.box[2] - 5, self.box[1] + 3
        pdf.set_fill_color(255)
        pdf.rect(x - 3, y - 1.5, 6, 11, style="F")
        pdf.set_fill_color(0)
        pdf.set_draw_color(0)
        pdf.polygon([(x, y), (x + 1.6, y + 5), (x, y + 4), (x - 1.6, y + 5)], style="F")
        pdf.set_font(style="B", size=7)
        text = self.words["north"]
        pdf.text(x - pdf.get_string_width(text) / 2, y + 8, text)

    def _scale(self) -> None:
        """A bar of a round length, about a quarter of the map long."""
        pdf, (x, y, width, height) = self.pdf, self.box
        per_unit = self.mm_per_m * (M_PER_FT if self.units == "us" else 1.0)
        length = max((s for s in STEPS if s * per_unit <= width / 3), default=STEPS[0])
        left, low, mm = x + 3, y + height - 3, length * per_unit
        pdf.set_fill_color(255)
        pdf.rect(left - 1, low - 4, mm + 12, 5.5, style="F")
        pdf.set_line_width(0.4)
        pdf.line(left, low, left + mm, low)
        for end in (left, left + mm):
            pdf.line(end, low - 1.2, end, low)
        pdf.set_font(size=6.5)
        pdf.text(left + mm + 1.5, low, f"{length} {'ft' if self.units == 'us' else 'm'}")

    def _inset(self) -> None:
        """The whole area with the part that the map shows, where the map shows a small part of it."""
        outline = self.around.outline
        if outline is None:
            return
        west, south, east, north = outline.bounds
        shown = (self.box[2] / self.mm_per_m, self.box[3] / self.mm_per_m)
        if shown[0] * shown[1] > 0.6 * (east - west) * (north - south):
            return
        pdf, size = self.pdf, 19.0
        x, y = self.box[0] + self.box[2] - size - 1, self.box[1] + self.box[3] - size - 1
        scale = (size - 2) / max(east - west, north - south)

        def at(x_m: float, y_m: float) -> tuple[float, float]:
            return x + 1 + (x_m - west) * scale, y + size - 1 - (y_m - south) * scale

        pdf.set_fill_color(255)
        pdf.set_line_width(0.2)
        pdf.rect(x, y, size, size, style="DF")
        draw_shape(pdf, outline, at, filled=False)
        left, top = at(self.middle[0] - shown[0] / 2, self.middle[1] + shown[1] / 2)
        pdf.set_line_width(0.5)
        with pdf.rect_clip(x, y, size, size):
            pdf.rect(left, top, shown[0] * scale, shown[1] * scale)


def draw_shape(pdf: FPDF, shape: Any, at: Any, *, filled: bool) -> None:
    """Draw a point as a cross, a line as a line, a polygon by its rings."""
    for part in getattr(shape, "geoms", [shape]):
        if part.is_empty:
            continue
        if part.geom_type == "Point":
            x, y = at(part.x, part.y)
            pdf.line(x - 1, y - 1, x + 1, y + 1)
            pdf.line(x - 1, y + 1, x + 1, y - 1)
        elif part.geom_type == "LineString":
            pdf.polyline([at(*corner[:2]) for corner in part.coords])
        else:
            pdf.polygon([at(*c[:2]) for c in part.exterior.coords], style="DF" if filled else "D")
            for ring in part.interiors:
                pdf.polygon([at(*c[:2]) for c in ring.coords], style="D")


def _hatching(shape: Any, step_m: float) -> list[Any]:
    """The parts inside a shape of lines that slant from south-west to north-east."""
    west, south, east, north = shape.bounds
    high = north - south
    starts = [west - high + step_m * n for n in range(1, int((east - west + high) / step_m) + 1)]
    lines = [
        shapely.LineString([(start, south), (start + high, north)]).intersection(shape) for start in starts
    ]
    parts = (part for line in lines for part in shapely.get_parts(line))
    return [part for part in parts if part.geom_type == "LineString" and not part.is_empty]


def _box_at(middle: tuple[float, float], size: tuple[float, float]) -> Box:
    return (
        middle[0] - size[0] / 2,
        middle[1] - size[1] / 2,
        middle[0] + size[0] / 2,
        middle[1] + size[1] / 2,
    )


def _beside(spot: tuple[float, float], size: tuple[float, float], side: tuple[int, int]) -> Box:
    out = DOT_MM + 0.5
    middle = (spot[0] + side[0] * (out + size[0] / 2), spot[1] + side[1] * (out + size[1] / 2))
    return _box_at(middle, size)


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def draw_how(pdf: FPDF, box: Box, height_m: float, height: str, words: Words) -> None:
    """Draw where the tape goes: level round one trunk at the height, and round each of two above a fork."""
    x, y, width, tall = box
    pdf.set_fill_color(0)
    ground, scale = y + tall - 8.5, (tall - 11.0) / 1.9
    line = ground - height_m * scale
    pdf.set_draw_color(0)
    pdf.set_line_width(0.35)
    pdf.line(x, ground, x + width, ground)
    one, two = x + width * 0.24, x + width * 0.76
    _trunk(pdf, one, ground, y, 3.6)
    _fork(pdf, two, ground, y, line)
    pdf.set_line_width(1.1)
    pdf.line(one - 4.2, line, one + 4.2, line)
    pdf.line(two - 6.4, line, two - 1.0, line)
    pdf.line(two + 1.0, line, two + 6.4, line)
    pdf.set_line_width(0.25)
    arrow = one + 8
    pdf.line(arrow, line, arrow, ground)
    pdf.line(one + 4.2, line, arrow + 1, line)
    for tip, way in ((line, 1), (ground, -1)):
        pdf.polygon([(arrow, tip), (arrow - 0.9, tip + 2 * way), (arrow + 0.9, tip + 2 * way)], style="F")
    pdf.set_font(style="B", size=8)
    pdf.text(arrow + 1.5, (line + ground) / 2 + 1, height)
    pdf.set_font(size=6)
    for middle, text in ((x, words["level"]), (x + width / 2, words["fork"])):
        pdf.set_xy(middle, ground + 0.8)
        pdf.multi_cell(width / 2 - 1, 2.6, text, align="L")


def _trunk(pdf: FPDF, middle: float, ground: float, top: float, half: float) -> None:
    for side in (-1, 1):
        flare = [
            (middle + side * (half + 3), ground),
            (middle + side * half, ground - 4),
            (middle + side * half * 0.9, top),
        ]
        pdf.polyline(flare)


def _fork(pdf: FPDF, middle: float, ground: float, top: float, line: float) -> None:
    crotch = min(line + 4.5, ground - 3)
    for side in (-1, 1):
        pdf.polyline(
            [
                (middle + side * 6.5, ground),
                (middle + side * 4, ground - 3),
                (middle + side * 5.5, line),
                (middle + side * 7, top),
            ]
        )
    pdf.polyline([(middle - 2.5, top), (middle - 1.8, line), (middle, crotch)])
    pdf.polyline([(middle, crotch), (middle + 1.8, line), (middle + 2.5, top)])
