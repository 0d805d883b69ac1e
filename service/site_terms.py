"""What a site agreed on, changed by its manager: name, whom to call, who is qualified, units, height."""

from dataclasses import asdict, dataclass
from typing import Any

from service.actors import Actor
from service.errors import InvalidRequest
from service.store.engine import Store
from service.store.site_edits import revise_site
from service.store.site_rows import NewSite, find_site

CHANGEABLE = (
    *("name", "country", "breast_height_m", "units", "time_zone", "phone", "qualified"),
    *("unseen_girth_cm", "wind_limit"),
)
MAX_CHARACTERS = 200


@dataclass(frozen=True)
class KnownTerms:
    """The terms of a site as they are, with the version that was seen."""

    version: int
    values: dict[str, Any]


def terms_now(store: Store, slug: str) -> KnownTerms:
    """Return the changeable terms of a site.

    Raises
    ------
    NotFound
        If there is no such site.
    """
    with store.read() as connection:
        row = find_site(connection, slug)
    return KnownTerms(row.version, {name: getattr(row, name) for name in CHANGEABLE})


def edit_terms(store: Store, slug: str, actor: Actor, seen_version: int, values: dict[str, Any]) -> int:
    """Write a new version of a site's terms; return the version's number.

    Raises
    ------
    InvalidRequest
        With every fault.
    NotFound
        If there is no such site.
    StaleVersion
        If the terms have another version than the one that was seen.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    given: dict[str, Any] = {
        **dict.fromkeys(CHANGEABLE),
        **values,
        "time_zone": values["time_zone"] or "",
        "name": values["name"] or "",
    }
    terms = NewSite(slug=slug, **{name: given[name] for name in CHANGEABLE})
    faults = _lengths(values)
    try:
        terms.require_usable()
    except InvalidRequest as error:
        faults += error.faults
    if faults:
        raise InvalidRequest(faults)
    said = asdict(terms)
    with store.write() as connection:
        return revise_site(connection, slug, actor, seen_version, {name: said[name] for name in CHANGEABLE})


def _lengths(values: dict[str, Any]) -> list[tuple[str, str]]:
    faults = []
    if not (values["name"] or "").strip():
        faults.append(("name", "Give the ground a name."))
    for name in ("name", "phone", "qualified", "wind_limit"):
        if len(values[name] or "") > MAX_CHARACTERS:
            faults.append((name, f"Use at most {MAX_CHARACTERS} characters."))
    return faults
