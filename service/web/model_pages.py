"""The error model of a ground: the one in use, the one learned now, what would change, and adopting it."""

from typing import Any

from flask import Blueprint, Response, flash
from flask_babel import gettext as _

from layers.chart_profile import PROFILE_WORDS, profile_chart
from layers.pairs import HeightPairs, height_pairs
from service.errors import InvalidRequest, NotFound, StaleVersion
from service.site_models import adopt_fitted, adopt_version, adoptions
from service.view import SiteView
from service.web import chart_routes, current, form, frame, model_facts, plain_words

bp = Blueprint("model_pages", __name__)

LEARNED = "learned"
PAIRS_SHOWN = 40


@bp.get("/sites/<slug>/model")
def site_model(slug: str) -> Any:
    """The error model in use and the one learned now."""
    return _page(current.site_view(slug))


@bp.post("/sites/<slug>/model")
def adopt_model(slug: str) -> Any:
    """Put the model learned now, or an earlier version, into use."""
    view = current.site_view(slug)
    sent = form.typed()
    choice = sent.text("choice") or ""
    seen = int(sent.number("seen") or 0)
    try:
        if choice == LEARNED:
            version = adopt_fitted(current.store(), slug, current.actor(), view.learned.model, seen)
        elif choice.isdigit():
            version = int(choice)
            adopt_version(current.store(), slug, current.actor(), version, seen)
        else:
            raise InvalidRequest([("choice", _("Choose a version on the page of the error model."))])
    except StaleVersion:
        return _page(view, stale=True), 409
    flash(
        _(
            "Version %(version)s of the error model is in use now. No measurement was changed.",
            version=version,
        )
    )
    return form.away(f"/sites/{slug}/model")


def _page(view: SiteView, stale: bool = False) -> str:
    known = adoptions(current.store(), view.terms.slug, current.actor(), view.known_at)
    pairs = pairs_of(view)
    return frame.site_page(
        "model.html",
        view,
        "figures",
        stale=stale,
        model=view.terms.model,
        adoptions=list(reversed(known)),
        earlier=_earlier(known, view.terms.model.version),
        learned=view.learned,
        parameters=model_facts.parameters(view),
        compared=model_facts.compared(view),
        pairs=pairs.pairs.head(PAIRS_SHOWN).to_dict("records"),
        sets=pairs.sets.to_dict("records"),
        drawn=drawn_sets(pairs),
        to_begin_with=pairs.to_begin_with,
        tags=dict(zip(view.records.trees["tree_id"], view.records.trees["tag"], strict=True)),
        set_words=plain_words.set_words,
    )


def _earlier(known: list[Any], in_use: int) -> list[int]:
    """The versions that can be put into use again, the published one first."""
    return sorted({0, *(one.model.version for one in known)} - {in_use})


def pairs_of(view: SiteView) -> HeightPairs:
    """The pairs of heights of a ground beside what its readings teach."""
    return height_pairs(view.records, view.terms, view.learned.model, view.learned.left_out)


def drawn_sets(pairs: HeightPairs) -> list[int]:
    """The places of the sets that have pairs in the table of sets; each has its chart."""
    with_pairs = set(pairs.pairs["taper_set"])
    return [n for n, name in enumerate(pairs.sets["taper_set"]) if name in with_pairs]


@bp.get("/sites/<slug>/model/profile-<int:number>.svg")
def profile_picture(slug: str, number: int) -> Response:
    """How the trunks of a set of kinds thin: published, learned here, the pairs.

    Raises
    ------
    NotFound
        If the ground has no such set.
    """
    view = current.site_view(slug)
    pairs = pairs_of(view)
    if number not in drawn_sets(pairs):
        raise NotFound(_("chart"), f"profile-{number}")
    one = pairs.sets.iloc[number].to_dict()
    mine = pairs.pairs[pairs.pairs["taper_set"] == one["taper_set"]]
    words = {key: str(_(text)) for key, text in PROFILE_WORDS.items()}
    one["taper_set"] = plain_words.set_words(one["taper_set"])
    return chart_routes.picture(
        view, f"profile {number}", lambda: profile_chart(mine, one, view.terms, words, narrow=True)
    )
