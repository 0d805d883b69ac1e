"""Labels of trees: choosing and printing them; the pages that the code on a label leads to."""

import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pandas as pd
from flask import Blueprint, Response, redirect, render_template, request
from flask_babel import gettext as _

from layers.tree_codes import TagCode, is_of_site, named_by, read_code, tag_code, tree_codes
from service.errors import InvalidRequest, NotFound
from service.outlets.label_sheets import (
    LABEL_SHEETS,
    LABEL_WORDS,
    MOST_LABELS,
    check_page,
    labels_of,
    labels_pdf,
    said_on,
)
from service.outlets.sheets import trees_in
from service.view import SiteView, key_of, sites, view_of
from service.web import current, form, frame
from service.web.access import sits_here
from service.web.addresses import lasting
from service.web.listing import natural
from service.web.sheet_pages import pdf_answer, zones_of

bp = Blueprint("label_pages", __name__)

WHICH = ("all", "without")
_LONGEST_LIST = 20_000
_MOST_RANGE = 100_000


@bp.get("/sites/<slug>/labels")
def labels(slug: str) -> str:
    """Choose trees and a label sheet."""
    view = current.site_view(slug)
    usual = form.blank(sheet="letter-3x10" if view.terms.units == "us" else "a4-3x8", first=1, which="all")
    example = next(iter(tree_codes(view.records.trees["tree_id"]).items()), None)
    code = tag_code(view.terms.site_id, example[1]) if example else None
    return frame.site_page(
        "labels.html",
        view,
        "sheets",
        form=usual,
        zones=[("", _("the whole ground")), *zones_of(view)],
        which=[("all", _("all that stand")), ("without", _("those without a number"))],
        papers=[
            ("a4-3x8", _("A4, 3 x 8 labels of 70 x 36 mm")),
            ("letter-3x10", _("Letter, 3 x 10 labels of 2 5/8 x 1 in")),
        ],
        code=code,
        said=said_on(code, lasting()) if code else None,
        has_address=lasting() is not None,
        most=MOST_LABELS,
    )


@bp.get("/sites/<slug>/labels.pdf")
def labels_paper(slug: str) -> Response:
    """The labels as PDF, or the check page of a label sheet."""
    view = current.site_view(slug)
    asked = form.Form(request.args.to_dict())
    sheet = LABEL_SHEETS.get(asked.text("sheet") or "")
    first = asked.number("first")
    if sheet is None or asked.faults or (first is not None and first != int(first)):
        raise InvalidRequest(
            _("Choose the label sheet, and its first label as a number, on the page of labels.")
        )
    words = {key: str(_(text)) for key, text in LABEL_WORDS.items()}
    if asked.text("check") == "yes":
        return pdf_answer(check_page(view.terms, sheet, words), f"{slug}-check-page.pdf")
    body = labels_pdf(
        view.terms,
        sheet,
        labels_of(view, chosen(view, asked), lasting(), words),
        first=1 if first is None else int(first),
        outlines=asked.text("outlines") == "yes",
        words=words,
    )
    return pdf_answer(body, f"{slug}-labels.pdf")


def chosen(view: SiteView, asked: form.Form) -> list[str]:
    """Return the ids of the trees that get a label, by their numbers.

    Raises
    ------
    InvalidRequest
        If a number is of no tree here, or the choice is none of the page's.
    NotFound
        If there is no such area.
    """
    zone, which = asked.text("zone"), asked.text("which") or "all"
    trees = trees_in(view, zone)[0] if zone else view.trees
    trees = trees[trees["status"] != "removed"]
    if which not in WHICH:
        raise InvalidRequest(_("Choose which trees get a label on the page of labels."))
    if which == "without":
        trees = trees[trees["tag"].isna()]
    if numbers := asked.text("numbers"):
        trees = _numbered(trees, numbers)
    order = trees["tag"].astype(object).map(natural)
    return list(trees.loc[order.sort_values(kind="stable", na_position="last").index, "tree_id"])


def _numbered(trees: pd.DataFrame, said: str) -> pd.DataFrame:
    """The trees of a list of numbers such as 12, 15-20, A7; each of it has to be there."""
    if len(said) > _LONGEST_LIST:
        raise InvalidRequest(_("The list of numbers is too long. Choose an area, or print in several parts."))
    tags = trees["tag"].astype(object).map(lambda tag: str(tag).strip().casefold() if tag else "")
    wanted, missing = set(), []
    for part in filter(None, (part.strip() for part in re.split(r"[,;\n]", said))):
        here = {tag for tag in _meant(part) if tag} & set(tags)
        wanted |= here
        if not here:
            missing.append(part)
    if missing:
        shown = ", ".join(missing[:10])
        raise InvalidRequest(_("No standing tree here has this number: %(numbers)s.", numbers=shown[:200]))
    return trees[tags.isin(wanted)]


def _meant(part: str) -> Iterator[str]:
    """The numbers of a part of a list: itself, and all between two whole numbers."""
    yield part.casefold()
    span = re.fullmatch(r"([0-9]{1,9})\s*[-–]\s*([0-9]{1,9})", part)
    if span and int(span[1]) <= int(span[2]) <= int(span[1]) + _MOST_RANGE:
        yield from map(str, range(int(span[1]), int(span[2]) + 1))


@bp.get("/t/<code>")
@bp.get("/T/<code>")
def tag(code: str) -> Any:
    """What the QR code of a tag opens: the tree's page for whoever sits here, else the page for measuring."""
    said = quote(code, safe="")
    return redirect(f"/tags/{said}" if sits_here() else f"/field/#t/{said}", 302)


@bp.get("/tags", defaults={"code": ""})
@bp.get("/tags/<code>")
def tagged(code: str) -> Any:
    """Lead from the code of a tag to its tree; where several trees may be meant, ask which."""
    said = code or request.args.get("code", "")
    read = read_code(said)
    if read is None:
        raise InvalidRequest(
            _("%(said)s is not the code of a tag: a letter is missing or was misread.", said=repr(said)[:40])
        )
    found = list(_named(read))
    if not found:
        raise NotFound(_("tree with the code"), said[:40])
    if len(found) == 1:
        return redirect(found[0]["address"], 302)
    return render_template("tag.html", code=said[:40], found=found)


def _named(read: TagCode) -> Iterator[dict[str, str]]:
    """The trees that a code stands for, on all grounds that may be seen."""
    store, actor = current.store(), current.actor()
    for site in sites(store, actor):
        if not is_of_site(read, key_of(store, site.slug, actor).site_id):
            continue
        trees = view_of(store, site.slug, actor).trees.set_index("tree_id")
        for tree_id in named_by(read, trees.index):
            tree = trees.loc[tree_id]
            yield {
                "address": f"/sites/{site.slug}/trees/{tree_id}",
                "tag": tree["tag"] or "",
                "place": tree["place"] or "",
                "site": site.name,
            }
