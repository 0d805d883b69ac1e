"""What was said of a tree before: each change of its facts, with what stood there and what came."""

from dataclasses import dataclass
from typing import Any

from flask_babel import lazy_gettext as _l

from service.store import schema
from service.store.former import former_contents
from service.store.site_rows import find_site
from service.view import SiteView
from service.web import current, plain_words
from service.web.display import Units, day, text

FACTS = {
    "tag": _l("number"),
    "place": _l("place"),
    "name_as_written": _l("kind as written"),
    "scientific_name": _l("kind"),
    "status": _l("state"),
    "keeper": _l("whose tree"),
    "planted_on": _l("planted on"),
    "lon_deg": _l("longitude"),
    "lat_deg": _l("latitude"),
    "x_m": _l("how far east"),
    "y_m": _l("how far north"),
    "position_source": _l("how the position was found"),
    "position_accuracy_m": _l("how well it is known"),
}
LENGTHS = ("x_m", "y_m", "position_accuracy_m")


@dataclass(frozen=True)
class Changed:
    """One fact that was changed: when (UTC, ISO), which one, from what to what."""

    at: str
    fact: str
    before: str
    after: str


def changes_of_tree(view: SiteView, record: dict[str, Any]) -> list[Changed]:
    """Return the changes of a tree's facts, the latest first."""
    if record["version"] == 1:
        return []
    with current.store().read() as connection:
        site = find_site(connection, view.terms.slug)
        former = former_contents(connection, schema.tree, site.fid, record["tree_id"])
    places = view.records.places
    units = Units(view.terms.units)
    names = dict(zip(places["id"], places["name"], strict=True)) if len(places) else {}
    told = [(at, {**cells, "place": names.get(cells.get("place_id"))}) for at, cells in former]
    afters = [cells for _at, cells in told[1:]] + [record]
    return [
        Changed(at, str(words), _shown(name, before.get(name), units), _shown(name, after.get(name), units))
        for (at, before), after in reversed(list(zip(told, afters, strict=True)))
        for name, words in FACTS.items()
        if text(before.get(name)) != text(after.get(name))
    ]


def _shown(name: str, value: Any, units: Units) -> str:
    if name in LENGTHS:
        return units.with_unit(value, "height", 2)
    if name == "planted_on":
        return day(value)
    tables = {"status": plain_words.STATUS, "keeper": plain_words.KEEPER}
    return plain_words.said(tables.get(name, {}), value)
