"""Measuring sheets as PDF: one instrument and one unit a sheet, no last size, the red box on top of each."""

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib.resources import as_file, files
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from fpdf import FPDF
from numpy.typing import NDArray

from layers.canopy import HELPERS
from layers.inputs import SiteTerms
from layers.telling import LAYERS, Voice
from service.errors import InvalidRequest, NotFound, StoreUnavailable
from service.outlets.sheet_back import SheetBack
from service.outlets.sheet_layout import FONT, PAPER_MM, SheetPage, left_out_page, rows_a_sheet
from service.outlets.sheet_rows import RowMaker, Sector, SheetJob, ground_of
from service.outlets.sheet_words import SHEET_WORDS

if TYPE_CHECKING:
    from service.view import SiteView

PUPILS = "pupils"
_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # none that looks like another
_FONTS = (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf"))


def area_sheet(
    terms: SiteTerms,
    job: SheetJob,
    *,
    trees: pd.DataFrame,
    stems: pd.DataFrame,
    stem_state: pd.DataFrame,
    targets: pd.DataFrame,
    outline: Any = None,
    hazards: pd.DataFrame | None = None,
    closures: pd.DataFrame | None = None,
    left_out: Sequence[tuple[str, str]] = (),
    words: Mapping[str, str] = SHEET_WORDS,
) -> bytes:
    """Return the measuring sheets of an area or place as PDF.

    Parameters
    ----------
    terms : SiteTerms
        Units, breast height [m] and whom to call.
    job : SheetJob
        What is measured how, for helpers or for the leader.
    trees : DataFrame
        Columns of TREES; the trees to be measured, positions included.
    stems : DataFrame
        Columns of STEM_RECORD.
    stem_state : DataFrame
        Columns of STEM_STATE: how each trunk was measured last.
    targets : DataFrame
        Columns of TARGET_RECORD: what is drawn and named on the map.
    outline : geometry, optional
        Outline of the area, in the coordinates of the site.
    hazards, closures : DataFrame, optional
        What endangers people and what is closed on the day, with ``geometry``; both are on the map.
    left_out : sequence of (tag, reason)
        Trees that helpers do not go to; the leader's copy lists them.
    words : mapping
        Words of the sheet, by the keys of SHEET_WORDS.

    Raises
    ------
    InvalidRequest
        If there is no tree to measure.
    StoreUnavailable
        If the fonts are not beside the program.
    """
    if not len(trees):
        raise InvalidRequest("There is no tree to measure here. Choose another area, or put in trees first.")
    said = {**SHEET_WORDS, **words}
    at, around = ground_of(trees, outline, targets, terms, hazards, closures)
    maker = RowMaker(terms, job, stems, stem_state, around, said)
    found = maker.sectors(trees, at, rows_a_sheet(job.paper))
    pdf = new_paper(terms, job)
    for number, sector in enumerate(found, start=1):
        page = SheetPage(pdf, terms, job, said, sheet_code(terms, sector), number, len(found))
        page.draw(sector, around)
        if job.has_backs:
            SheetBack(pdf, terms, job, said).draw()
    if job.leader:
        left_out_page(page, list(left_out))
    return bytes(pdf.output())


def sheet_of(
    view: "SiteView",
    area_id: str,
    job: SheetJob,
    *,
    crew_kind: str = "pupils",
    words: Mapping[str, str] = SHEET_WORDS,
    voice: Voice | None = None,
) -> bytes:
    """Return the measuring sheets of an area or place of a site, in English by default.

    Standing living trees are on it. Trees with a sign on the list to be looked at are left out for pupils,
    trees in a place that is closed on the day for all helpers, those at which a danger was seen that nobody
    has answered for everybody; the leader's copy says so.

    Raises
    ------
    NotFound
        If there is no such area or place.
    InvalidRequest
        If there is no tree to measure.
    StoreUnavailable
        If the fonts are not beside the program.
    """
    trees, outline = _standing(view, area_id)
    closed, signs = _closed(view, trees), _has_signs(trees)
    said = {**SHEET_WORDS, **words}
    reasons = [
        ([said["danger"]] if tree.tree_id in view.trees_in_danger else [])
        + (_why_closed(view, tree.tree_id, said, voice) if is_closed and crew_kind in HELPERS else [])
        + ([_why_sign(tree.signs, said, voice)] if has_sign and crew_kind == PUPILS else [])
        for tree, is_closed, has_sign in zip(trees.itertuples(index=False), closed, signs, strict=True)
    ]
    is_out = np.array([bool(why) for why in reasons], dtype=bool)
    left_out = [
        (str(tag or said["no_tag"]), "; ".join(why))
        for tag, why in zip(trees["tag"], reasons, strict=True)
        if why
    ]
    return area_sheet(
        view.terms,
        job,
        trees=trees[~is_out],
        stems=view.records.stems,
        stem_state=view.state.stem_state,
        targets=view.records.targets,
        outline=outline,
        hazards=view.hazards,
        closures=view.closures,
        left_out=left_out,
        words=words,
    )


def sheet_with(view: "SiteView", area_ids: Iterable[str], code: str) -> tuple[str, Sector] | None:
    """Return the area or place and the rows of the sheet with a code, as it would be printed now.

    None if no sheet of these areas and places has it: trees were put in or taken out since it was printed.
    Small and capital letters are the same, and so are codes with and without the dash.
    """
    asked = bare_code(code)
    for area_id in area_ids:
        for sector in _every_sector(view, area_id):
            if bare_code(sheet_code(view.terms, sector)) == asked:
                return area_id, sector
    return None


def bare_code(code: str) -> str:
    """Return a sheet's code in capital letters and digits only."""
    return "".join(letter for letter in code.upper() if letter.isalnum())


def _every_sector(view: "SiteView", area_id: str) -> Iterator[Sector]:
    """What the sheets of an area hold: on both papers, for pupils, for other helpers, for everybody else.

    A danger that was seen since a sheet was printed leaves its code as it was.
    """
    trees, outline = _standing(view, area_id)
    closed, signs = _closed(view, trees), _has_signs(trees)
    calm = ~np.array(trees["tree_id"].isin(view.trees_in_danger), dtype=bool)
    masks = (np.ones(len(trees), dtype=bool), ~closed, ~closed & ~signs)
    kept = {mask.tobytes(): mask for one in masks for mask in (one & calm, one)}
    for chosen in (trees[mask] for mask in kept.values()):
        at, around = ground_of(chosen, outline, view.records.targets, view.terms)
        job = SheetJob(title="", round_name="")
        maker = RowMaker(view.terms, job, view.records.stems, view.state.stem_state, around, SHEET_WORDS)
        for most in sorted({rows_a_sheet(paper) for paper in PAPER_MM}) if len(chosen) else ():
            yield from maker.sectors(chosen, at, most)


def _standing(view: "SiteView", area_id: str) -> tuple[pd.DataFrame, Any]:
    trees, outline = trees_in(view, area_id)
    return trees[trees["status"].isin(["living", "unknown"])], outline


def _has_signs(trees: pd.DataFrame) -> NDArray[np.bool_]:
    return np.array([found is not None and len(found) > 0 for found in trees["signs"]], dtype=bool)


def _closed(view: "SiteView", trees: pd.DataFrame) -> NDArray[np.bool_]:
    return np.array([tree_id in view.closed_trees for tree_id in trees["tree_id"]], dtype=bool)


def _why_closed(view: "SiteView", tree_id: str, words: Mapping[str, str], voice: Voice | None) -> list[str]:
    day = (voice or Voice()).day
    rows = view.closures.iloc[view.closed_trees[tree_id]]
    return [
        words["closed"].format(day=day(since), name=name)
        for since, name in zip(rows["from_on"], rows["name"], strict=True)
    ]


def _why_sign(signs: Sequence[str], words: Mapping[str, str], voice: Voice | None) -> str:
    return words["sign"].format(signs=", ".join(_told(signs, voice)))


def _told(signs: Sequence[str], voice: Voice | None) -> list[str]:
    return [LAYERS.told(sign, voice or Voice()) for sign in signs]


def trees_in(view: "SiteView", area_id: str) -> tuple[pd.DataFrame, Any]:
    """Return the trees and the outline of an area; of a place the trees that were put in it.

    Raises
    ------
    NotFound
        If there is no such area or place.
    """
    area = view.areas[view.areas["area_id"] == area_id]
    if len(area):
        inside = view.membership.loc[view.membership["area_id"] == area_id, "tree_id"]
        return view.trees[view.trees["tree_id"].isin(inside)], area["geometry"].iloc[0]
    places = view.records.places
    if not len(places) or area_id not in set(places["id"]):
        raise NotFound("area", area_id)
    records = view.records.trees
    there = records.loc[records["place_id"] == area_id, "tree_id"]
    outlines = view.areas.loc[view.areas["place_id"] == area_id, "geometry"].dropna()
    return view.trees[view.trees["tree_id"].isin(there)], outlines.iloc[0] if len(outlines) else None


def sheet_code(terms: SiteTerms, sector: Sector) -> str:
    """Return the code of a sheet: the same for the same trunks in the same order, on whatever day."""
    return code_of(terms, [row.stem_id or row.tree_id for row in sector.rows])


def code_of(terms: SiteTerms, what: Sequence[str]) -> str:
    """Return the code of ids of a site in their order."""
    named = "\n".join([terms.site_id, *what])
    number = int.from_bytes(hashlib.sha256(named.encode("utf-8", "replace")).digest()[:8], "big")
    letters = ""
    for _ in range(6):
        number, rest = divmod(number, len(_LETTERS))
        letters += _LETTERS[rest]
    return f"{letters[:3]}-{letters[3:]}"


def new_paper(terms: SiteTerms, job: SheetJob) -> FPDF:
    """Return a paper without a page, with its fonts.

    Raises
    ------
    StoreUnavailable
        If the fonts are not beside the program.
    """
    pdf = FPDF(orientation="portrait", unit="mm", format=PAPER_MM[job.paper])
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    for style, name in _FONTS:
        path = files("service.web").joinpath("static", "vendor", "fonts", name)
        if not path.is_file():
            raise StoreUnavailable(
                f"The font {name} is not there, so nothing can be printed. Install the program again, or run "
                "`python -m service.assets.build` in its folder."
            )
        with as_file(path) as font:
            pdf.add_font(FONT, style, font)
    pdf.set_title(f"{job.title} · {terms.name}")
    pdf.set_creator("Boleward")
    day = dt.date.fromisoformat(job.day) if job.day else dt.date(2000, 1, 1)
    pdf.set_creation_date(dt.datetime(day.year, day.month, day.day, tzinfo=dt.UTC))
    return pdf
