"""The error models of a site: those that were adopted, the one in use, adopting another (definitions R10)."""

from dataclasses import dataclass, replace
from typing import Any

from layers import history
from layers.figures import figures
from layers.site_model import PUBLISHED, SiteModel
from service.actors import Actor, visible
from service.errors import NotFound, StaleVersion
from service.store import changes
from service.store.engine import Store
from service.store.model_rows import adopted_rows, insert_model, model_in_use, model_of
from service.store.rows import Connection
from service.store.site_rows import find_site, held_site
from service.view import SiteView

CHANGE_KIND = "model"


@dataclass(frozen=True)
class Adoption:
    """One adoption of a model: at which change of the site, and the model."""

    change_no: int
    model: SiteModel


def adoptions(store: Store, slug: str, actor: Actor, known_at: int | None = None) -> list[Adoption]:
    """Return every adoption of a site's models, the first one first; none means that version 0 is in use.

    Raises
    ------
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not see it.
    """
    visible(slug, actor)
    with store.read() as connection:
        rows = adopted_rows(connection, find_site(connection, slug).fid, known_at)
    return [Adoption(int(row.change_no), model_of(row)) for row in rows]


def adopt_fitted(store: Store, slug: str, actor: Actor, fitted: SiteModel, seen_change_no: int) -> int:
    """Put a model into use that was fitted to a site's records, as one change; return its version.

    Parameters
    ----------
    store, slug, actor
    fitted : SiteModel
        What the records teach.
    seen_change_no : int
        The change number of the records that it was fitted to and that the person looked at.

    Raises
    ------
    NotFound
        If there is no such site.
    StaleVersion
        If the site has changed since: what was looked at is not what would be adopted.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    with store.write() as connection:
        site = held_site(connection, slug)
        if site.change_no != seen_change_no:
            raise StaleVersion("site", slug, {"change": seen_change_no}, {"change": site.change_no})
        number = max([0, *(int(row.number) for row in adopted_rows(connection, site.fid))]) + 1
        _write(connection, site.fid, actor, replace(fitted, version=number, fitted_at=seen_change_no))
    return number


def adopt_version(store: Store, slug: str, actor: Actor, version: int, seen_version: int) -> int:
    """Put an earlier version into use again, 0 for the published one; return the change number.

    Parameters
    ----------
    store, slug, actor
    version : int
        The one to use from now on.
    seen_version : int
        The one that was in use when the person looked.

    Raises
    ------
    NotFound
        If there is no such site, or no such version of its model.
    StaleVersion
        If another one has come into use since.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    with store.write() as connection:
        site = held_site(connection, slug)
        in_use = model_in_use(connection, site.fid)
        if in_use.version != seen_version:
            raise StaleVersion("site_model", slug, {"version": seen_version}, {"version": in_use.version})
        known = {row.number: model_of(row) for row in adopted_rows(connection, site.fid)}
        model = {PUBLISHED.version: replace(PUBLISHED, fitted_at=0), **known}.get(version)
        if model is None:
            raise NotFound("version of the error model", str(version))
        return _write(connection, site.fid, actor, model)


def _write(connection: Connection, site_fid: int, actor: Actor, model: SiteModel) -> int:
    made = changes.begin(connection, site_fid, actor, CHANGE_KIND, str(model.version))
    fitted_at = model.fitted_at or 0
    insert_model(
        connection, site_fid, made, model.version, model.as_json(), fitted_at, actor.handle, changes.now()
    )
    return made.change_no


def figures_with(view: SiteView, model: SiteModel) -> dict[str, Any]:
    """Return the figures of a whole site as they would be with a model; what is screened is left out."""
    terms = replace(view.terms, model=model)
    state = history.state_at(view.records, terms, view.as_of)
    rows = figures(
        state.stem_state,
        state.stem_parts,
        state.causes,
        view.membership,
        trees=view.plain_trees,
        areas=view.areas,
        terms=terms,
        as_of=view.as_of,
        known_at=view.known_at,
        places=view.records.places,
    )
    return rows[0]
