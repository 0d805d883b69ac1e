"""What phones sent and a person has to mend: the list, taking in what was meant, dropping with a reason.

Pictures that phones took are shown from here, too.
"""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, Response, flash, make_response
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from layers import tree_codes
from service import set_aside
from service.field_meaning import ABOUT
from service.photos import MEDIA_TYPE, picture_of
from service.plan_images import file_box
from service.set_aside import SetAside
from service.store.field_rows import waiting_count
from service.store.site_rows import find_site
from service.view import SiteView
from service.web import choices, current, display, form, frame

bp = Blueprint("set_aside_pages", __name__)

KINDS = {
    "reading": _l("a measurement"),
    "observation": _l("something seen or measured"),
    "status": _l("what a tree looks like"),
    "danger": _l("a danger"),
    "tree": _l("a tree that was written down"),
    "calibration": _l("the hand of a team"),
    "photo": _l("a picture"),
}
_SAID = (  # of the content, in the order in which it is told
    ("tag", _l("number of the tree, as typed")),
    ("name_as_written", _l("kind of tree")),
    ("says", _l("what they say")),
    ("what", _l("what was looked at")),
    ("sight", _l("what was seen")),
    ("text", _l("in words")),
    ("parts", _l("as read")),
    ("first_guess", _l("guessed first")),
    ("first_entry", _l("entered first")),
    ("measured_on", _l("day")),
    ("observed_on", _l("day")),
    ("position_source", _l("where its place comes from")),
    ("note", _l("note")),
    ("reason", _l("why")),
)
_DAYS = ("measured_on", "observed_on")


@dataclass(frozen=True)
class Choice:
    """A trunk that may be meant: its id, the tree in words with the code of its tag."""

    id: str
    words: str
    tree_id: str | None = None


@dataclass(frozen=True)
class Shown:
    """One that waits, as the page shows it; times are those of the phone and of the server."""

    one: SetAside
    kind: str
    facts: list[tuple[str, str]]
    by_phone: str
    by_server: str
    why: str
    choices: list[Choice]
    asks_tree: bool
    asks_trunk: bool
    about: Choice | None


@bp.get("/sites/<slug>/set-aside")
def waiting(slug: str) -> Any:
    """What waits for a person."""
    return _page(current.site_view(slug), form.blank(), None)


@bp.post("/sites/<slug>/set-aside/<id>")
def settle(slug: str, id: str) -> Any:
    """Take in what was sent as it was meant, or drop it with a reason."""
    view = current.site_view(slug)
    sent = form.typed()
    if sent.text("act") == "drop":
        why = sent.text("why") or ""
        done = form.tried(sent, lambda: _dropped(slug, id, sent.version(), why))
        said = _("It was dropped; it stays in the list below with the reason.")
    else:
        tree_id, stem_id = _meant(view, sent)
        done = form.tried(sent, lambda: _taken(slug, id, sent, tree_id, stem_id))
        said = _("It was taken in.")
    if done is None:
        return _page(current.site_view(slug), sent, id)
    flash(said)
    return form.away(f"/sites/{slug}/set-aside")


@bp.get("/sites/<slug>/photos/<photo_id>.jpg")
def photo(slug: str, photo_id: str) -> Response:
    """A picture that a phone took."""
    store = current.store()
    box = file_box(store, current.settings().data_folder)
    response = make_response(picture_of(store, box, slug, photo_id))
    response.content_type = MEDIA_TYPE
    response.headers["Cache-Control"] = "private, max-age=86400"
    return response


def number_waiting(slug: str) -> int:
    """Return how much waits for a person on a ground."""
    with current.store().read() as connection:
        return waiting_count(connection, find_site(connection, slug).fid)


def _dropped(slug: str, id: str, version: int, why: str) -> bool:
    set_aside.drop(current.store(), slug, current.actor(), id, version, why)
    return True


def _taken(slug: str, id: str, sent: form.Form, tree_id: str | None, stem_id: str | None) -> bool:
    given = {"tree_id": tree_id, "stem_id": stem_id, "team": sent.text("team")}
    set_aside.take(current.store(), slug, current.actor(), id, sent.version(), **given)
    return True


def _meant(view: SiteView, sent: form.Form) -> tuple[str | None, str | None]:
    """The tree and trunk that a person named: one of those offered, or by number or code."""
    stems = view.records.stems
    chosen = sent.text("meant")
    if chosen and not sent.text("tag"):
        found = stems.loc[stems["stem_id"] == chosen, "tree_id"]
        return (str(found.iloc[0]), chosen) if len(found) else (chosen, None)
    said = sent.text("tag")
    if said is None:
        return None, None
    trees = _named(view, said)
    if len(trees) != 1:
        sent.faults["tag"] = (
            _("No tree has this number or code. Look it up in the list of trees.")
            if not trees
            else _("Several trees have this number. Type the code that stands on the tag instead.")
        )
        return None, None
    number = int(sent.number("trunk") or 1)
    mine = stems[(stems["tree_id"] == trees[0]) & (stems["number"] == number).to_numpy(dtype=bool)]
    if not len(mine):
        sent.faults["trunk"] = _("This tree has no trunk of that number.")
        return None, None
    return trees[0], str(mine["stem_id"].iloc[0])


def _named(view: SiteView, said: str) -> list[str]:
    trees = view.records.trees
    found = list(trees.loc[trees["tag"] == said, "tree_id"])
    code = None if len(found) == 1 else tree_codes.read_code(said)
    if code is not None and tree_codes.is_of_site(code, view.terms.site_id):
        return tree_codes.named_by(code, trees["tree_id"]) or found
    return found


def _page(view: SiteView, sent: form.Form, id: str | None) -> Any:
    store, slug = current.store(), view.terms.slug
    page = frame.site_page(
        "set_aside.html",
        view,
        "data",
        waiting=[_shown(view, one) for one in set_aside.all_waiting(store, slug)],
        settled=[_shown(view, one) for one in set_aside.lately_settled(store, slug)],
        form=sent,
        blank=form.blank(),
        at=id,
    )
    return page, (422 if sent.faults else 200)


def _shown(view: SiteView, one: SetAside) -> Shown:
    content, zone = one.content, view.terms.time_zone
    codes = tree_codes.tree_codes(view.records.trees["tree_id"]) if one.can_mean else {}
    about = _about(view, one)
    is_simple = one.kind in ABOUT and about is None
    meant = [
        Choice(
            stem_id if one.kind == "reading" else tree_id,
            f"{_tree(view, tree_id, number, len(stems))}, {codes.get(tree_id, display.NONE)}",
            tree_id,
        )
        for tree_id, stems in one.can_mean
        for stem_id, number in (stems if one.kind == "reading" else stems[:1])
    ]
    return Shown(
        one,
        str(KINDS.get(one.kind, one.kind)),
        _facts(view, content),
        _by_phone(one.recorded_at),
        display.moment(one.received_at, zone),
        display.say(one.why),
        meant,
        is_simple and one.is_readable,
        is_simple and one.is_readable and one.kind == "reading",
        about,
    )


def _by_phone(said: str | None) -> str:
    """A time as the phone said it, on its own clock."""
    if said is None:
        return display.NONE
    at = dt.datetime.fromisoformat(said)
    return f"{display.day(at.date().isoformat())}, {at:%H:%M}"


def _about(view: SiteView, one: SetAside) -> Choice | None:
    """The tree that it is about, where it names one that is here."""
    stems, content = view.records.stems, one.content
    tree_id = content.get("tree_id") or content.get("subject_id")
    if content.get("stem_id"):
        found = stems.loc[stems["stem_id"] == content["stem_id"], "tree_id"]
        tree_id = found.iloc[0] if len(found) else None
    known = view.records.trees["tree_id"] == tree_id
    return Choice(str(tree_id), _tree(view, str(tree_id), 1, 1)) if known.any() else None


def _tree(view: SiteView, tree_id: str, number: int, trunks: int) -> str:
    rows = view.records.trees
    found = rows[rows["tree_id"] == tree_id]
    if not len(found):
        return display.NONE
    row = found.iloc[0]
    said = _("Tree %(tag)s", tag=row["tag"] or _("without a number"))
    more = [row[name] for name in ("common_name", "scientific_name", "name_as_written") if row[name]][:1]
    more += [row["place"]] if row["place"] else []
    more += [_("trunk %(number)s", number=number)] if trunks > 1 else []
    return ", ".join([said, *map(str, more)])


def _facts(view: SiteView, content: dict[str, Any]) -> list[tuple[str, str]]:
    """What was said, in words and in order; numbers with their unit first."""
    out = []
    value = content.get("value")
    if isinstance(value, int | float) and not isinstance(value, bool):
        unit = str(content.get("unit") or "")
        out.append((_("as read"), f"{display.number(value, _decimals(value))} {unit}".strip()))
    if content.get("void"):
        out.append((_("what it does"), _("crosses out what was said before")))
    instrument = dict(choices.INSTRUMENTS).get(str(content.get("instrument")))
    if instrument:
        out.append((_("with"), str(instrument)))
    height = content.get("height_m")
    if isinstance(height, int | float):
        out.append((_("at height"), display.Units(view.terms.units).height(float(height))))
    for name, label in _SAID:
        said = content.get(name)
        if said not in (None, "", []):
            out.append((str(label), display.day(said) if name in _DAYS else str(said)[:400]))
    return out


def _decimals(value: float) -> int:
    return 0 if float(value).is_integer() else 1
