"""How do you know? The page of a number with all that it and its error follow from; the same as JSON."""

import orjson
from flask import Blueprint, Response, request

from layers.explaining_words import EQUATIONS
from service.web import current, display, frame, how_facts

bp = Blueprint("how_pages", __name__)


@bp.get("/sites/<slug>/how")
def site_how(slug: str) -> str:
    """A number: what it rests on, the equation, its sources, the parts of its error, the model's version."""
    view = current.site_view(slug)
    of = request.args.get("of", "")
    explanation, trunks = how_facts.found(view, of)
    units, day = display.Units(view.terms.units), frame.day_query()
    below = trunks if len(trunks) <= how_facts.MOST_ROWS else []
    return frame.site_page(
        "how.html",
        view,
        "trees" if not of.startswith("figure") else "figures",
        equations=EQUATIONS,
        address=f"{request.path}?{request.query_string.decode('ascii', 'replace')}",
        told=[
            how_facts.told(view, each, units, day, f"h{n}") for n, each in enumerate([explanation, *below])
        ],
    )


@bp.get("/api/sites/<slug>/how")
def api_how(slug: str) -> Response:
    """The same at full precision, of a tree with the trunks that it rests on."""
    view = current.site_view(slug)
    of = request.args.get("of", "")
    tag = frame.etag(view, "api how", of)
    held = frame.unchanged(tag)
    if held is not None:
        return held
    explanation, trunks = how_facts.found(view, of)
    document = explanation.as_json() | {"rests_on": [trunk.as_json() for trunk in trunks]}
    return frame.kept_answer(orjson.dumps(document), "application/json", tag)
