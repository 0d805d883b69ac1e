"""The Flask application, put together in one place."""

import logging

from flask import Flask

from service.settings import Settings, secret_key
from service.store.engine import Store
from service.web import (
    access,
    api,
    api_document,
    change_feed,
    chart_routes,
    closure_forms,
    code_pages,
    current,
    danger_api,
    danger_pages,
    data_pages,
    day_pages,
    display,
    download_routes,
    field_access,
    field_api,
    field_pages,
    grid_pages,
    ground_forms,
    growth_pages,
    hand_pages,
    hazard_forms,
    how_pages,
    import_pages,
    label_pages,
    languages,
    learned_api,
    learned_pages,
    look_forms,
    model_pages,
    ogc_pages,
    plain_words,
    plan_pages,
    problems,
    reading_forms,
    review_pages,
    round_pages,
    round_planning,
    sample_pages,
    seen_forms,
    set_aside_pages,
    sharing,
    sheet_pages,
    site_pages,
    terms_pages,
    tile_routes,
    tree_forms,
    tree_pages,
)

__all__ = ["create_app"]

TRANSLATIONS = "web/translations"

PAGES = (
    site_pages,
    tree_forms,
    reading_forms,
    seen_forms,
    tree_pages,
    growth_pages,
    look_forms,
    ground_forms,
    danger_pages,
    closure_forms,
    hazard_forms,
    danger_api,
    how_pages,
    plan_pages,
    label_pages,
    sheet_pages,
    round_pages,
    round_planning,
    day_pages,
    learned_pages,
    learned_api,
    model_pages,
    grid_pages,
    hand_pages,
    code_pages,
    terms_pages,
    sample_pages,
    chart_routes,
    data_pages,
    review_pages,
    set_aside_pages,
    import_pages,
    download_routes,
    tile_routes,
    field_pages,
    api,
    change_feed,
    ogc_pages,
    api_document,
    field_access,
    field_api,
)


def create_app(store: Store, settings: Settings) -> Flask:
    """Return the application that serves ``store``.

    Raises
    ------
    StoreUnavailable
        If the key for cookies can be neither read nor kept.
    """
    logging.getLogger("service").setLevel(settings.log_level.upper())
    app = Flask("service", template_folder="web/templates", static_folder="web/static")
    app.jinja_options = {"autoescape": True, "trim_blocks": True, "lstrip_blocks": True}
    current.attach(app, store, settings)
    access.init_app(app, settings, secret_key(store.folder or settings.data_folder))
    languages.init_app(app, settings, TRANSLATIONS)
    display.init_app(app)
    plain_words.init_app(app)
    sharing.init_app(app, settings)
    problems.init_app(app)
    for pages in PAGES:
        app.register_blueprint(pages.bp)
    return app
