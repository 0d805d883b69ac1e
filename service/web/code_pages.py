"""How a local code may count a tree: at the height that it names, against its limit, by its rules."""

import math
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, request
from flask_babel import gettext as _

from layers import law_height, stem_rules, taper
from layers.errors import OutsideDomain
from layers.stem_rules import RULES
from layers.units import CM_PER_IN
from service.view import SiteView
from service.web import current, display, form, frame, lengths, tree_facts

bp = Blueprint("code_pages", __name__)


@dataclass(frozen=True)
class RuleFact:
    """A tree by one rule for several trunks: the rule, its source, the size and its error [cm]."""

    name: str
    source: str
    size_cm: float
    se_cm: float


@dataclass(frozen=True)
class TrunkFact:
    """A trunk at the height of a rule: number, size with half its 95 % interval [cm], how, the answer."""

    number: int
    size_cm: float
    half_cm: float
    why: str
    verdict: str | None


@bp.get("/sites/<slug>/trees/<tree_id>/code")
def tree_code(slug: str, tree_id: str) -> Any:
    """One tree at a height and against a limit that a code names (``height_m``, ``limit``, ``of``)."""
    view = current.site_view(slug)
    tree = tree_facts.tree_row(view, tree_id)
    asked = form.Form(request.args.to_dict())
    height = lengths.typed(asked, "height_m", view.terms.units, kind="measuring")
    limit = asked.number("limit")
    if height is None:
        height = view.terms.breast_height_m
        asked.values.setdefault("height_m", lengths.shown(height, view.terms.units, "measuring"))
    of = "diameter" if asked.text("of") == "diameter" else "girth"
    trunks, rules = _sizes(view, tree_id, asked, height, limit, of)
    page = frame.site_page(
        "code.html",
        view,
        "trees",
        tree=tree,
        form=asked,
        of=of,
        trunks=trunks,
        rules=rules,
        shown_height=display.Units(view.terms.units).height(height),
    )
    return page, (422 if asked.faults else 200)


def _sizes(
    view: SiteView, tree_id: str, asked: form.Form, height: float, limit: float | None, of: str
) -> tuple[list[TrunkFact], list[RuleFact]]:
    given = (view.records, view.terms, view.as_of, tree_id, height)
    try:
        sizes = law_height.sizes_at(*given)
    except OutsideDomain:
        units = display.Units(view.terms.units)
        asked.faults["height_m"] = _(
            "Sizes are brought to heights from %(low)s to %(high)s; measure at the height of the rule.",
            low=units.height(taper.LOWEST_M),
            high=units.height(taper.HIGHEST_M),
        )
        return [], []
    state = law_height.state_there(*given)
    stems = view.records.stems
    number = dict(zip(stems["stem_id"], stems["number"], strict=True))
    per_unit = CM_PER_IN if view.terms.units == "us" else 1.0
    turned = math.pi if of == "girth" else 1.0
    trunks = [
        TrunkFact(
            int(number[size.stem_id]),
            size.diameter_cm * turned,
            (size.high_cm - size.diameter_cm) * turned,
            size.why,
            None if limit is None else _(size.verdict(limit * per_unit, of)),
        )
        for size in sizes
    ]
    return trunks, [
        RuleFact(fact.name, fact.source, fact.size_cm * turned, fact.se_cm * turned)
        for fact in rules_of(state.stem_state, state.stem_parts, state.causes)
    ]


def rules_of(stem_state: Any, stem_parts: Any, causes: Any) -> list[RuleFact]:
    """Return a tree by every rule for several trunks, in the words of pages; none for one trunk."""
    return [
        RuleFact(_(RULES[each.rule].name), _(RULES[each.rule].source), each.size_cm, each.se_cm)
        for each in stem_rules.counted_by_rules(stem_state, stem_parts, causes)
    ]


def rules_of_tree(view: SiteView, tree_id: str) -> list[RuleFact]:
    """Return a tree by every rule for several trunks, at the height of the ground."""
    state = view.state
    mine = state.stem_state[(state.stem_state["tree_id"] == tree_id) & state.stem_state["stem_id"].notna()]
    return rules_of(mine, state.stem_parts, state.causes)
