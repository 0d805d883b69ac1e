"""Tags of trees as sheets of labels: a QR code as vectors, the tree's number large, its code in letters.

A label carries an address only where the ground has a lasting one: an address of this computer, or of a
network that will be another one next year, would turn every tag into waste. Without one it carries the code
of ground and tree alone, which a person can type and which the phone page finds among the trees that it has.

References
----------
.. [1] ISO/IEC 18004, QR code: a quiet zone of four modules on every side; capital letters, digits and some
   signs take 5.5 bits each (from memory).
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import pandas as pd
import segno
from fpdf import FPDF

from layers import everyday_names
from layers.inputs import SiteTerms
from layers.translating import N_
from layers.tree_codes import tag_code, tree_codes
from service.errors import InvalidRequest
from service.outlets.sheet_layout import FONT, draw_rule, fitted
from service.outlets.sheet_rows import NAMES, SheetJob
from service.outlets.sheet_words import SHEET_WORDS
from service.outlets.sheets import new_paper
from service.view import SiteView

MOST_LABELS = 480  # a paper: 20 sheets of 24, 16 sheets of 30; about a second for each 100
QUIET = 4
LEAST_MODULE_MM = 0.4  # what the camera of an old phone reads at arm's length; common practice, no source
_MOST_QR_MM = 28.0
_EDGE_MM = 2.0  # between the end of a label and its QR code with the quiet zone
_SIDE_MM = 4.0  # left free beside the text: printers do not reach the end of the paper
_GREY = 150

LABEL_WORDS: dict[str, str] = {
    **everyday_names.WORDS,
    "rule": SHEET_WORDS["rule"],
    "title": N_("Labels of trees"),
    "check_title": N_("Check page, on plain paper"),
    "check_how": N_(
        "Print at 100 % (actual size). Hold this page and a label sheet against the light: the lines "
        "must meet."
    ),
}


@dataclass(frozen=True)
class LabelSheet:
    """Where the labels of a sheet are [mm], from the upper left corner of the paper."""

    paper: str
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    across: float
    down: float

    @property
    def count(self) -> int:
        """Labels on a sheet."""
        return self.columns * self.rows

    def corner(self, place: int) -> tuple[float, float]:
        """Return the upper left corner of a label [mm]; ``place`` counts along the rows from 0."""
        row, column = divmod(place, self.columns)
        return self.left + column * self.across, self.top + row * self.down


# Sizes of the trade: 70 x 36 mm without gaps, 4.5 mm free above and below; 2 5/8 x 1 in, 1/8 in between the
# columns, 1/2 in above, 3/16 in beside. Common practice, no source.
LABEL_SHEETS: dict[str, LabelSheet] = {
    "a4-3x8": LabelSheet("A4", 3, 8, 70.0, 36.0, 0.0, 4.5, 70.0, 36.0),
    "letter-3x10": LabelSheet("Letter", 3, 10, 66.675, 25.4, 4.7625, 12.7, 69.85, 25.4),
}


@dataclass(frozen=True)
class Label:
    """What stands on a label: the tree's number or nothing, a short name, the ground, the code, the QR code.

    ``said`` is what the QR code holds.
    """

    tree_id: str
    number: str
    name: str
    site: str
    code: str
    said: str


def labels_of(
    view: SiteView, tree_ids: Sequence[str], address: str | None, words: Mapping[str, str] = LABEL_WORDS
) -> list[Label]:
    """Return the labels of trees, in the order given.

    Parameters
    ----------
    view : SiteView
    tree_ids : sequence of str
        Ids of trees of the ground.
    address : str, optional
        Lasting address of the pages, such as https://trees.example.org; None where the ground has none.
    words : mapping
        Words of the label, by the keys of LABEL_WORDS.
    """
    codes = tree_codes(view.records.trees["tree_id"])
    asked = view.trees.set_index("tree_id", drop=False).loc[list(tree_ids)]
    return [_label(tree, codes[tree["tree_id"]], view.terms, address, words) for _, tree in asked.iterrows()]


def _label(
    tree: pd.Series, own: str, terms: SiteTerms, address: str | None, words: Mapping[str, str]
) -> Label:
    code = tag_code(terms.site_id, own)
    name = next((said for said in (tree[column] for column in NAMES) if said), "")
    name = everyday_names.in_words(str(name), words)
    return Label(tree["tree_id"], str(tree["tag"] or ""), name, terms.name, code, said_on(code, address))


def said_on(code: str, address: str | None) -> str:
    """Return what the QR code of a tag holds: the code, after the address where there is a lasting one.

    All in capital letters, which a QR code packs closer; the beginning and the name in an address mean the
    same in capital letters, and our pages answer to both.
    """
    return code if address is None else f"{address.upper()}/T/{code}"


def labels_pdf(
    terms: SiteTerms,
    sheet: LabelSheet,
    labels: Sequence[Label],
    *,
    first: int = 1,
    outlines: bool = False,
    words: Mapping[str, str] = LABEL_WORDS,
) -> bytes:
    """Return label sheets as PDF, to be printed at 100 %.

    Parameters
    ----------
    terms : SiteTerms
    sheet : LabelSheet
        Where the labels are.
    labels : sequence of Label
    first : int
        The label of the first sheet to begin with, from 1: what is left of a half-used sheet.
    outlines : bool
        Lines to cut along, for plain paper or card.
    words : mapping
        Words of the paper, by the keys of LABEL_WORDS.

    Raises
    ------
    InvalidRequest
        If there is no label, there are too many, ``first`` is not on the sheet, or an address is so long
        that its QR code would be too fine to be read.
    StoreUnavailable
        If the fonts are not beside the program.
    """
    if not labels:
        raise InvalidRequest("There is no tree to print a label for. Choose others.")
    if len(labels) > MOST_LABELS:
        raise InvalidRequest(
            f"These are {len(labels)} trees; at most {MOST_LABELS} labels are printed at once. "
            "Choose an area, or write their numbers."
        )
    if not 1 <= first <= sheet.count:
        raise InvalidRequest([("first", f"is not on the sheet; it has labels 1 to {sheet.count}.")])
    if min(module_mm(sheet, label.said) for label in labels) < LEAST_MODULE_MM:
        raise InvalidRequest(
            "The public address is too long for labels of this size: its QR code would be too fine to be "
            "read. Choose larger labels, or a shorter address in the settings."
        )
    pdf = _paper(terms, sheet, words["title"])
    for place, label in enumerate(labels, start=first - 1):
        if place == first - 1 or place % sheet.count == 0:
            pdf.add_page()
        x, y = sheet.corner(place % sheet.count)
        if outlines:
            _outline(pdf, sheet, x, y)
        _draw(pdf, sheet, label, x, y)
    return bytes(pdf.output())


def check_page(terms: SiteTerms, sheet: LabelSheet, words: Mapping[str, str] = LABEL_WORDS) -> bytes:
    """Return one page with the outlines and numbers of the labels of a sheet and the rule of 100 mm.

    Raises
    ------
    StoreUnavailable
        If the fonts are not beside the program.
    """
    pdf = _paper(terms, sheet, words["check_title"])
    pdf.add_page()
    for place in range(sheet.count):
        x, y = sheet.corner(place)
        _outline(pdf, sheet, x, y)
        pdf.set_font(FONT, size=11)
        pdf.text(x + _SIDE_MM, y + _SIDE_MM + 3.0, str(place + 1))
    width, height = 116.0, 29.0
    x, y = (pdf.w - width) / 2, (pdf.h - height) / 2
    pdf.set_fill_color(255)
    pdf.set_draw_color(0)
    pdf.rect(x, y, width, height, style="DF")
    pdf.set_font(FONT, style="B", size=10)
    pdf.text(x + 8, y + 6.5, words["check_title"])
    pdf.set_font(FONT, size=7)
    pdf.set_xy(x + 7, y + 8.5)
    pdf.multi_cell(width - 14, 3.2, words["check_how"], align="L")
    draw_rule(pdf, x + 8, y + 22.0, words["rule"])
    return bytes(pdf.output())


def module_mm(sheet: LabelSheet, said: str) -> float:
    """Return how wide a module of the QR code of a text is on a label [mm]."""
    return _side_mm(sheet) / (len(_matrix(said)) + 2 * QUIET)


def _paper(terms: SiteTerms, sheet: LabelSheet, title: str) -> FPDF:
    return new_paper(terms, SheetJob(title, "", paper=sheet.paper))  # type: ignore[arg-type]


def _side_mm(sheet: LabelSheet) -> float:
    return min(sheet.height - 2 * _EDGE_MM, _MOST_QR_MM)


def _outline(pdf: FPDF, sheet: LabelSheet, x: float, y: float) -> None:
    pdf.set_draw_color(_GREY)
    pdf.set_line_width(0.1)
    pdf.rect(x, y, sheet.width, sheet.height)


def _draw(pdf: FPDF, sheet: LabelSheet, label: Label, x: float, y: float) -> None:
    side, module = _side_mm(sheet), module_mm(sheet, label.said)
    left, top = x + _EDGE_MM, y + (sheet.height - side) / 2
    pdf.set_fill_color(0)
    for column, row, wide, high in _runs(_matrix(label.said)):
        at_x, at_y = left + (column + QUIET) * module, top + (row + QUIET) * module
        pdf.rect(at_x, at_y, wide * module, high * module, style="F")
    at = left + side + 0.5
    _text(
        pdf,
        label,
        (at, y + _EDGE_MM + 1.0, x + sheet.width - _SIDE_MM - at, sheet.height - 2 * _EDGE_MM - 2.0),
    )


def _text(pdf: FPDF, label: Label, box: tuple[float, float, float, float]) -> None:
    """The number as large as it fits, the name on one or two lines, the ground; the code at the lower end."""
    x, y, width, height = box
    own = label.code.rpartition("-")[2]
    big = _largest(pdf, label.number or own, width, most=height * 0.95)
    y += big * 0.26
    pdf.text(x, y, fitted(pdf, label.number or own, width))
    pdf.set_font(FONT, size=9 if height > 25 else 7)
    for line in _lines(pdf, label.name, width, most=2 if height > 25 else 1):
        y += pdf.font_size * 1.25
        pdf.text(x, y + 0.6, line)
    low = box[1] + height
    pdf.set_font(FONT, style="B", size=_fit(pdf, label.code, width, 10.0))
    pdf.text(x, low, label.code)
    pdf.set_font(FONT, size=7.0 if height > 25 else 6.0)
    pdf.text(x, low - 4.6, fitted(pdf, label.site, width))


def _largest(pdf: FPDF, text: str, width: float, most: float) -> float:
    """Set bold letters as large as a text fits in a width, within bounds; return their size [pt]."""
    size = max(_fit(pdf, text, width, most), 9.0)
    pdf.set_font(FONT, style="B", size=size)
    return size


def _fit(pdf: FPDF, text: str, width: float, most: float) -> float:
    pdf.set_font(FONT, style="B", size=most)
    fitting = most * width / max(float(pdf.get_string_width(text)), 0.1)
    return min(most, math.floor(fitting * 10) / 10)


def _lines(pdf: FPDF, text: str, width: float, most: int) -> Iterator[str]:
    """A text on at most so many lines, the last of them cut where it is longer."""
    left = text.split()
    for line in range(1, most + 1):
        said = ""
        while left and line < most and pdf.get_string_width(f"{said} {left[0]}".strip()) <= width:
            said = f"{said} {left.pop(0)}".strip()
        if line == most:
            said = fitted(pdf, " ".join(left), width)
        if said:
            yield said


@lru_cache(maxsize=MOST_LABELS)
def _matrix(said: str) -> tuple[bytearray, ...]:
    return segno.make_qr(said, error="m").matrix


def _runs(matrix: Sequence[Sequence[int]]) -> Iterator[tuple[int, int, int, int]]:
    """The dark modules as rectangles (column, row, width, height), none of which meets another."""
    left = {(x, y) for y, line in enumerate(matrix) for x, dark in enumerate(line) if dark}
    for y, line in enumerate(matrix):
        for x in range(len(line)):
            if (x, y) not in left:
                continue
            wide = next(n for n in range(1, len(line) + 1) if (x + n, y) not in left)
            across = [x + n for n in range(wide)]
            high = next(n for n in range(1, len(matrix) + 1) if any((c, y + n) not in left for c in across))
            left -= {(c, y + n) for c in across for n in range(high)}
            yield x, y, wide, high
