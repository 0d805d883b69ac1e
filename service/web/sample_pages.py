"""The sample grounds: brought in with one click, thrown away with one click."""

from flask import Blueprint, flash, redirect
from flask_babel import gettext as _
from werkzeug.wrappers import Response

from service.plan_images import file_box
from service.sample import load_samples
from service.store.site_removal import remove_sample
from service.web import current

bp = Blueprint("sample_pages", __name__)


@bp.post("/samples")
def bring_samples() -> Response:
    """Bring the sample grounds in; those that are here stay as they are."""
    load_samples(current.store(), current.actor())
    return redirect("/", 303)


@bp.post("/samples/<slug>/discard")
def discard_sample(slug: str) -> Response:
    """Throw a sample ground away."""
    box = file_box(current.store(), current.settings().data_folder)
    for name in remove_sample(current.store(), slug, current.actor()):
        box.discard(name)
    flash(_("The sample was thrown away. Nothing of your own was touched."))
    return redirect("/", 303)
