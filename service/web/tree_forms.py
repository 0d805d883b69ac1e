"""Forms of one tree: a new one, its facts, crossing it out; and taking the last entry back."""

from typing import Any

from flask import Blueprint, flash, request
from flask_babel import gettext as _

from service.edit import add_trees, cross_out, edit_tree
from service.records import TreeIn, parsed
from service.site_models import Adoption, adoptions
from service.undo import LastEntry, last_by_hand, undo_last
from service.view import SiteView
from service.web import choices, current, form, frame, lengths, tree_facts

bp = Blueprint("tree_forms", __name__)

TEXTS = ("tag", "place", "name_as_written", "position_source", "keeper", "planted_on", "status")
DEGREES = ("lon_deg", "lat_deg")
LENGTHS = ("x_m", "y_m", "position_accuracy_m")
TAP = "tap on plan"
TAP_ACCURACY_M = 3.5  # a finger of 7 mm on a plan at 1:500; common practice, no source
MOST_WORDS = 300


def _values(view: SiteView, sent: form.Form, record: dict[str, Any] | None = None) -> dict[str, Any]:
    status = None if record is None else record["status"]
    values: dict[str, Any] = {**sent.texts(*TEXTS), **{name: sent.number(name) for name in DEGREES}}
    for name in LENGTHS:
        known = () if record is None else (record[name],)
        values[name] = lengths.typed(sent, name, view.terms.units, *known)
    values["status"] = status or values["status"] or "living"
    if values["lon_deg"] is None and values["x_m"] is None:
        values["position_source"] = values["position_accuracy_m"] = None
    elif values["position_source"] == TAP and values["position_accuracy_m"] is None:
        values["position_accuracy_m"] = TAP_ACCURACY_M
    return values


def _page(view: SiteView, sent: form.Form, **given: Any) -> Any:
    trees = view.trees
    page = frame.site_page(
        "tree_form.html",
        view,
        "trees",
        form=sent,
        choices=choices,
        places=_words(trees["place"]),
        kinds=_words(trees["scientific_name"]),
        shell=frame.map_of(view),
        per_unit=lengths.per_unit(view.terms.units),
        **given,
    )
    return page, (422 if sent.faults else 200)


def _words(column: Any) -> list[str]:
    return sorted(set(column.dropna()))[:MOST_WORDS]


@bp.route("/sites/<slug>/trees/new", methods=["GET", "POST"])
def new_tree(slug: str) -> Any:
    """A tree that is not in the list yet: tapped on the map, or without a position, by place."""
    view = current.site_view(slug)
    if request.method == "GET":
        return _page(view, form.blank(stems=1, status="living", place=request.args.get("place")))
    sent = form.typed()
    values = _values(view, sent)
    _ask_for_something(sent, values)
    stems = sent.number("stems")
    values["stems"] = 1 if stems is None else int(stems) if stems == int(stems) else stems

    def make() -> list[str]:
        return add_trees(current.store(), slug, current.actor(), [parsed(TreeIn, values)])

    made = form.tried(sent, make)
    if made is None:
        return _page(view, sent)
    flash(_("The tree is in the list. Measure it, or add the next one."))
    _ask_about_the_tag(view, values["tag"], values["place"])
    if sent.text("again"):
        return form.away(f"/sites/{slug}/trees/new?{form.query(place=sent.text('place'))}")
    return form.away(f"/sites/{slug}/trees/{made[0]}")


def _ask_for_something(sent: form.Form, values: dict[str, Any]) -> None:
    """A tree that nobody could find again is none: one thing at least has to be said of it."""
    position = (values["lon_deg"], values["lat_deg"], values["x_m"], values["y_m"])
    told = (values["tag"], values["place"], values["name_as_written"], *position)
    if all(value is None for value in told) and not sent.faults:
        sent.faults[""] = _(
            "Say one thing at least by which the tree is found again: its number, its kind, its place, or "
            "where it stands."
        )


def _ask_about_the_tag(view: SiteView, tag: str | None, place: str | None, own: str | None = None) -> None:
    """Ask about two standing trees of one place with one number; neither is refused."""
    trees = view.trees
    same = trees[(trees["tag"] == tag) & (trees["status"] != "removed") & (trees["tree_id"] != own)]
    if tag and any((other or None) == place for other in same["place"]):
        flash(_("Please check: another standing tree here has the number %(tag)s too.", tag=tag))


@bp.route("/sites/<slug>/trees/<tree_id>/edit", methods=["GET", "POST"])
def edit_one(slug: str, tree_id: str) -> Any:
    """The facts of a tree: number, place, kind, position, whose it is. Its state has a form of its own."""
    view = current.site_view(slug)
    record = tree_facts.record_of(view, tree_id)
    if request.method == "GET":
        known = {name: record[name] for name in (*TEXTS, *DEGREES, "version")}
        known |= {name: lengths.shown(record[name], view.terms.units) for name in LENGTHS}
        return _page(view, form.blank(**known), record=record)
    sent = form.typed()
    values, version = _values(view, sent, record), sent.version()

    def change() -> int:
        return edit_tree(current.store(), slug, current.actor(), tree_id, version, values)

    if form.tried(sent, change) is None:
        return _page(view, sent, record=record)
    flash(_("The tree's facts were changed; the former ones are kept."))
    _ask_about_the_tag(view, values["tag"], values["place"], tree_id)
    return form.away(f"/sites/{slug}/trees/{tree_id}")


@bp.post("/sites/<slug>/trees/<tree_id>/cross-out")
def cross_out_tree(slug: str, tree_id: str) -> Any:
    """A tree that was entered by mistake: it counts nowhere any more."""
    sent = form.typed()
    version = sent.version()
    cross_out(current.store(), slug, current.actor(), "tree", tree_id, version)
    flash(_("The tree was crossed out as entered by mistake. It can be taken back."))
    return form.away(f"/sites/{slug}/trees")


def _model_since(slug: str, last: LastEntry | None) -> Adoption | None:
    """The error model that came into use after the last entry, which taking back leaves in use."""
    known = adoptions(current.store(), slug, current.actor())
    return known[-1] if known and (last is None or known[-1].change_no > last.change_no) else None


@bp.route("/sites/<slug>/undo", methods=["GET", "POST"])
def take_back(slug: str) -> Any:
    """Take back the last thing that was entered by hand on this ground."""
    last = last_by_hand(current.store(), slug, current.actor())
    if request.method == "GET":
        view = current.site_view(slug)
        return frame.site_page("undo.html", view, "today", last=last, model_since=_model_since(slug, last))
    if last is None:
        flash(_("There is nothing to take back."))
    elif form.typed().text("change_no") != str(last.change_no):
        flash(_("Something was entered meanwhile; nothing was taken back. Look again."))
        return form.away(f"/sites/{slug}/undo")
    else:
        count = undo_last(current.store(), slug, current.actor())
        flash(_("Taken back: %(what)s. It stays in the history.", what=form.counted(count)))
    return form.away(f"/sites/{slug}")
