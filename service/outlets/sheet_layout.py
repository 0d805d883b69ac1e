"""One measuring sheet on paper: the stop box, how to measure, the map, the rows to fill, the foot."""

from dataclasses import dataclass

from fpdf import FPDF

from layers import stop_card
from layers.caution import caution
from layers.inputs import SiteTerms
from layers.sights import DANGERS
from layers.units import height_words
from service.outlets.sheet_map import SectorMap, draw_how
from service.outlets.sheet_rows import Ground, Sector, SheetJob, SheetRow, Words, growth_words

FONT = "DejaVu"
MARGIN = 10.0
TOP = 8.0
HEAD_BOTTOM = 107.0
TABLE_HEAD = 15.0
ROW = 8.6
FOOT = 33.0
PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
RED = (190, 0, 0)

# Column and its share of the width; helpers' sheets have no last size.
_HELPERS = (
    ("number", 8.0),
    ("tag", 13.0),
    ("where", 46.0),
    ("trunk", 11.0),
    ("height_last", 14.0),
    ("guess", 16.0),
    ("reading_1", 18.0),
    ("reading_2", 18.0),
    ("height_now", 14.0),
    ("ivy", 6.5),
    ("two", 6.5),
    ("not_found", 6.5),
    ("dead", 6.5),
    ("saw", 6.5),
)
_LEADERS = (
    *(("number", 9.0), ("tag", 13.0), ("where", 38.0), ("trunk", 11.0), ("height_last", 13.0)),
    *(("last", 14.0), ("expected", 18.0), ("guess", 13.0), ("reading_1", 14.0), ("reading_2", 14.0)),
    *(("height_now", 13.0), ("ivy", 6.0), ("two", 6.0), ("not_found", 6.0), ("dead", 6.0), ("saw", 6.0)),
)
_TICKS = {"ivy", "two", "not_found", "dead", "saw"}


def rows_a_sheet(paper: str) -> int:
    """Return how many rows fit on a sheet."""
    return int((PAPER_MM[paper][1] - TOP - FOOT - HEAD_BOTTOM - TABLE_HEAD) // ROW)


@dataclass(frozen=True)
class SheetPage:
    """One sheet of several, ready to be drawn."""

    pdf: FPDF
    terms: SiteTerms
    job: SheetJob
    words: Words
    code: str
    number: int
    count: int

    @property
    def width(self) -> float:
        """Width between the margins [mm]."""
        return PAPER_MM[self.job.paper][0] - 2 * MARGIN

    @property
    def bottom(self) -> float:
        """Lower end of the printed part [mm]."""
        return PAPER_MM[self.job.paper][1] - TOP

    def draw(self, sector: Sector, around: Ground) -> None:
        """Draw the sheet on a new page."""
        self.pdf.add_page()
        self.pdf.set_font(FONT)
        left = self.width * 0.52
        self._title()
        self._stop(left)
        self._facts(left)
        self._how(left)
        draw_how(
            self.pdf,
            (MARGIN, 81.0, left, 25.0),
            self.job.height_m,
            height_words(self.job.height_m, self.terms.units),
            self.words,
        )
        map_box = (MARGIN + left + 3, 16.5, self.width - left - 3, 86.0)
        SectorMap(self.pdf, map_box, sector, around, self.words, self.terms.units).draw()
        self.pdf.set_font(size=6)
        self.pdf.text(map_box[0], map_box[1] + map_box[3] + 2.8, self.words["map"])
        self._table(sector.rows)
        self._foot()

    def _title(self) -> None:
        pdf = self.pdf
        of = self.words["sheet_of"].format(n=self.number, m=self.count)
        pdf.set_font(style="B", size=11)
        room = self.width - pdf.get_string_width(of) - 4
        pdf.text(MARGIN + self.width - pdf.get_string_width(of), TOP + 5, of)
        kind = self.words["leader_title" if self.job.leader else "title"]
        title = f"{self.job.title} · {kind}"
        pdf.set_font(style="B", size=max(8.0, min(11.0, 11.0 * room / pdf.get_string_width(title))))
        pdf.text(MARGIN, TOP + 5, fitted(pdf, title, room))

    def _stop(self, width: float) -> None:
        """The red box: six sights that stop everybody at once."""
        pdf, words, x, y = self.pdf, self.words, MARGIN, 16.5
        pdf.set_draw_color(*RED)
        pdf.set_line_width(1.2)
        pdf.rect(x, y, width, 33.0)
        pdf.set_draw_color(0)
        pdf.set_font(style="B", size=9.6)
        pdf.set_xy(x + 2, y + 1.2)
        pdf.multi_cell(width - 4, 4.0, words["stop"], align="L", max_line_height=4.0)
        pdf.set_font(size=7.2)
        pdf.text(x + 3, y + 11.8, fitted(pdf, words["stop_when"], width - 6))
        for place, sight in enumerate(DANGERS):
            text = f"• {words.get(f'sight.{sight.word}', sight.plain)}"
            pdf.text(x + 3, y + 14.7 + 2.7 * place, fitted(pdf, text, width - 6))
        pdf.set_font(style="B", size=8.4)
        called = stop_card.call(self.terms.phone, words["stop_call"], words["no_phone"])
        pdf.text(x + 3, y + 31.6, fitted(pdf, called, width - 6))

    def _facts(self, width: float) -> None:
        """Which round, team, day, where all meet: what is not known is a line to write on."""
        job, words = self.job, self.words
        half = width / 2
        self._fact(MARGIN, 53.8, width, words["round"], job.round_name)
        self._fact(MARGIN, 58.4, half - 2, words["team"], job.team)
        self._fact(MARGIN + half, 58.4, half, words["date"], job.day_said or job.day)
        self._fact(MARGIN, 63.0, width, words["meet"], job.meet)

    def _fact(self, x: float, y: float, width: float, word: str, value: str | None) -> None:
        pdf = self.pdf
        pdf.set_font(size=7.5)
        pdf.text(x, y, f"{word}:")
        at = x + pdf.get_string_width(f"{word}:") + 1.5
        if value:
            pdf.set_font(style="B", size=8.5)
            pdf.text(at, y, fitted(pdf, value, x + width - at))
        else:
            pdf.set_line_width(0.2)
            pdf.line(at, y + 0.4, x + width, y + 0.4)

    def _how(self, width: float) -> None:
        """One instrument, one unit, one height, in large print."""
        pdf, job, words = self.pdf, self.job, self.words
        pdf.set_fill_color(235)
        pdf.rect(MARGIN, 65.0, width, 15.0, style="F")
        pdf.set_font(style="B", size=8.5)
        pdf.text(MARGIN + 2, 69.0, fitted(pdf, words[f"instrument.{job.instrument}"], width - 4))
        height = height_words(job.height_m, self.terms.units)
        pdf.set_font(size=8)
        pdf.text(MARGIN + 2, 74.1, words["read"])
        at = MARGIN + 4 + pdf.get_string_width(words["read"])
        pdf.set_font(style="B", size=12.5)
        pdf.text(at, 74.3, words[f"unit.{job.unit}"])
        pdf.set_font(style="B", size=9.5)
        pdf.text(MARGIN + 2, 78.8, words["at_height"].format(height=height))

    def _table(self, rows: tuple[SheetRow, ...]) -> None:
        columns = self._columns()
        self._table_head(columns)
        for place, row in enumerate(rows):
            self._row(columns, row, HEAD_BOTTOM + TABLE_HEAD + place * ROW)

    def _columns(self) -> list[tuple[str, float, float]]:
        """Name, left edge and width of each column [mm]."""
        shares = _LEADERS if self.job.leader else _HELPERS
        scale = self.width / sum(share for _, share in shares)
        x, out = MARGIN, []
        for name, share in shares:
            out.append((name, x, share * scale))
            x += share * scale
        return out

    def _table_head(self, columns: list[tuple[str, float, float]]) -> None:
        pdf, y = self.pdf, HEAD_BOTTOM
        pdf.set_line_width(0.3)
        pdf.set_fill_color(235)
        for name, x, width in columns:
            pdf.rect(x, y, width, TABLE_HEAD, style="DF")
            word = self.words[f"head.{name}"]
            pdf.set_font(style="B", size=6.2)
            if name in _TICKS:
                self._upright(word, x + width / 2, y + TABLE_HEAD - 1.2)
                continue
            if name in ("reading_1", "reading_2", "guess", "last", "expected"):
                word = f"{word} ({self.job.unit})"
            longest = max(pdf.get_string_width(part) for part in word.split())
            room = width - 0.4 - 2 * pdf.c_margin
            pdf.set_font(style="B", size=min(6.2, 6.2 * room / longest))
            pdf.set_xy(x + 0.2, y + 1)
            pdf.multi_cell(width - 0.4, 2.9, word, align="C")

    def _upright(self, word: str, middle: float, low: float) -> None:
        """A word that runs upward, in two lines where it is long."""
        pdf = self.pdf
        parts = [word] if pdf.get_string_width(word) < TABLE_HEAD - 2 else word.split(" ", 1)
        for place, part in enumerate(parts):
            x = middle + 0.9 + 2.4 * (place - (len(parts) - 1) / 2)
            with pdf.rotation(90, x, low):
                pdf.text(x, low, part)

    def _row(self, columns: list[tuple[str, float, float]], row: SheetRow, y: float) -> None:
        pdf = self.pdf
        pdf.set_line_width(0.2)
        for name, x, width in columns:
            pdf.rect(x, y, width, ROW)
            if name in _TICKS:
                pdf.rect(x + width / 2 - 1.7, y + ROW / 2 - 1.7, 3.4, 3.4)
            elif name == "where":
                pdf.set_font(style="B", size=6.4)
                pdf.text(x + 0.8, y + 2.8, fitted(pdf, row.what, width - 1.4))
                pdf.set_font(size=5.9)
                for line, text in enumerate(_two_lines(pdf, row.where, width - 1.4)):
                    pdf.text(x + 0.8, y + 5.4 + 2.4 * line, text)
            else:
                bold = name in ("number", "tag")
                pdf.set_font(style="B" if bold else "", size=8.0 if bold else 7.0)
                text = fitted(pdf, str(getattr(row, name, "")), width - 0.8)
                pdf.text(x + (width - pdf.get_string_width(text)) / 2, y + ROW / 2 + 1, text)

    def _foot(self) -> None:
        pdf, words, y = self.pdf, self.words, self.bottom - FOOT + 4.5
        pdf.set_font(size=7)
        pdf.set_line_width(0.2)
        pdf.text(MARGIN, y, words["saw"])
        after = MARGIN + pdf.get_string_width(words["saw"]) + 2
        pdf.line(after, y + 0.4, MARGIN + self.width, y + 0.4)
        pdf.line(MARGIN, y + 7, MARGIN + self.width, y + 7)
        draw_rule(pdf, MARGIN, y + 13.0, words["rule"])
        right = MARGIN + 106
        self._fact(right, y + 12.5, self.width - 106, words["initials"], None)
        pdf.set_font(size=6.5)
        pdf.text(right, y + 17.0, f"{words['code']}:")
        after = right + pdf.get_string_width(f"{words['code']}:") + 1.5
        pdf.set_font(style="B", size=10)
        pdf.text(after, y + 17.3, self.code)
        pdf.set_xy(MARGIN, y + 19.2)
        pdf.set_font(size=6)
        said = caution(self.terms.phone, words["caution"], words["no_phone"])
        pdf.multi_cell(self.width, 2.6, said, align="L")


def draw_rule(pdf: FPDF, x: float, y: float, words: str) -> None:
    """Draw a line of 100 mm with its words below: a print that was shrunk shows."""
    pdf.set_line_width(0.2)
    pdf.line(x, y, x + 100, y)
    for mm in range(0, 101, 10):
        pdf.line(x + mm, y - (2.6 if mm % 50 == 0 else 1.4), x + mm, y)
    pdf.set_font(size=6)
    pdf.text(x, y + 3.2, words)


def fitted(pdf: FPDF, text: str, width: float) -> str:
    """Return as much of a text as fits, with an ellipsis where it was cut."""
    plain = " ".join(text.split())
    if pdf.get_string_width(plain) <= width:
        return plain
    while plain and pdf.get_string_width(f"{plain}…") > width:
        plain = plain[:-1]
    return f"{plain.rstrip()}…"


def _two_lines(pdf: FPDF, text: str, width: float) -> list[str]:
    """Return a text on one or two lines, cut where it is longer."""
    words = text.split()
    first = ""
    while words and pdf.get_string_width(f"{first} {words[0]}".strip()) <= width:
        first = f"{first} {words.pop(0)}".strip()
    rest = " ".join(words)
    return [line for line in (first, fitted(pdf, rest, width)) if line]


def left_out_page(page: SheetPage, reasons: list[tuple[str, str]]) -> None:
    """Draw what was left out of the helpers' sheets and why, on pages of the leader's copy."""
    pdf, words = page.pdf, page.words
    pdf.add_page()
    pdf.set_auto_page_break(True, 15)
    pdf.set_font(style="B", size=11)
    pdf.set_xy(MARGIN, TOP)
    pdf.cell(0, 6, fitted(pdf, f"{page.job.title} · {words['left_out']}", page.width))
    pdf.set_xy(MARGIN, TOP + 9)
    pdf.set_font(size=8)
    for tag, reason in reasons:
        pdf.set_x(MARGIN)
        pdf.multi_cell(page.width, 4.5, f"{tag}: {reason}", align="L")
    pdf.set_font(size=7)
    pdf.set_x(MARGIN)
    note = words["range_note"].format(growth=growth_words(page.terms.units))
    pdf.multi_cell(page.width, 4, f"\n{note}", align="L")
    pdf.set_auto_page_break(False)
