"""The first page and the pages of a site: today, figures, to be looked at."""

from flask import Blueprint, render_template

from service.view import sites
from service.web import current

bp = Blueprint("site_pages", __name__)


@bp.get("/")
def home() -> str:
    """The three doors, and the grounds that are here."""
    known = sites(current.store(), current.actor())
    return render_template(
        "home.html",
        samples=[site for site in known if site.invented],
        grounds=[site for site in known if not site.invented],
    )
