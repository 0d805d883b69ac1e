"""Bringing a plan or photo of the ground, and saying how it lies there."""

import re
from typing import Any

from flask import Blueprint, Response, flash, request
from flask_babel import gettext as _

from layers import plan_image
from layers.errors import LayerError
from layers.ground import LocalFrame
from layers.plan_image import Placement
from service.plan_images import (
    PlanImage,
    add_plan_image,
    file_box,
    north_up_png,
    place_plan_image,
    plan_image_of,
)
from service.view import SiteView
from service.web import current, form, frame, lengths
from service.web.display import HALF_WIDTH, number, say

bp = Blueprint("plan_pages", __name__)

_PIXEL = re.compile(r"\s*(-?\d{1,5}(?:\.\d{1,3})?)\s*[,; ]\s*(-?\d{1,5}(?:\.\d{1,3})?)\s*")
Pixel = tuple[float, float]


@bp.route("/sites/<slug>/plans/new", methods=["GET", "POST"])
def new_plan(slug: str) -> Any:
    """Upload a plan, a photo, or a page of a PDF."""
    view = current.site_view(slug)
    if request.method == "GET":
        return _upload_page(view, form.blank(page=1))
    sent = form.typed()
    file = request.files.get("file")
    page = sent.number("page")
    if file is None or not file.filename:
        sent.faults["file"] = _("Choose a picture or a PDF file.")
        return _upload_page(view, sent)
    name, content = sent.text("name") or file.filename, file.read()
    box = file_box(current.store(), current.settings().data_folder)

    def keep() -> str:
        return add_plan_image(current.store(), box, slug, current.actor(), name, content, int(page or 1))

    made = form.tried(sent, keep)
    if made is None:
        return _upload_page(view, sent)
    flash(_("The picture is here. Now say how it lies on the ground."))
    return form.away(f"/sites/{slug}/plans/{made}")


def _upload_page(view: SiteView, sent: form.Form) -> Any:
    return frame.site_page("plan_upload.html", view, "ground", form=sent), (422 if sent.faults else 200)


@bp.route("/sites/<slug>/plans/<id>", methods=["GET", "POST"])
def place(slug: str, id: str) -> Any:
    """Say how a picture lies: a known length, north, one point; four corners; or points with coordinates."""
    view = current.site_view(slug)
    image = plan_image_of(current.store(), slug, id)
    if request.method == "GET":
        return _place_page(view, image, form.blank(how="length", version=image.version))
    sent = form.typed()
    placed = form.tried(sent, lambda: _placed(view, sent))
    if placed is None:
        return _place_page(view, image, sent)
    placement, misfit = placed
    version = sent.version()

    def keep() -> int:
        return place_plan_image(current.store(), slug, current.actor(), id, version, placement, misfit)

    if form.tried(sent, keep) is None:
        return _place_page(view, image, sent)
    flash(_("The plan lies on the ground."))
    if misfit is not None:
        off = number(100 * misfit, 1)
        area = number(100 * HALF_WIDTH * plan_image.area_error_share(misfit), 1)
        said = _("The second known length comes out %(off)s %% off.", off=off)
        known = _("Areas drawn on this plan are known to give or take %(area)s %%.", area=area)
        flash(f"{said} {known}")
    return form.away(f"/sites/{slug}/plans/{id}")


def _placed(view: SiteView, sent: form.Form) -> tuple[Placement, float | None] | None:
    try:
        how = sent.text("how") or "length"
        placement = {"length": _by_length, "rectangle": _by_rectangle, "points": _by_points}[how](view, sent)
        if placement is None or sent.faults:
            return None
        return placement, _misfit(view, placement, sent)
    except (LayerError, KeyError) as error:
        sent.faults[""] = say(str(error))
        return None


def _by_length(view: SiteView, sent: form.Form) -> Placement | None:
    first, second, metres = (
        _pixel(sent, "length_1"),
        _pixel(sent, "length_2"),
        _metres(view, sent, "length_m"),
    )
    if first is None or second is None or metres is None:
        return None
    return _turned_and_moved(plan_image.from_length(first, second, metres), sent)


def _by_rectangle(view: SiteView, sent: form.Form) -> Placement | None:
    corners = [_pixel(sent, f"corner_{n}") for n in range(1, 5)]
    first, second = _metres(view, sent, "side_1_m"), _metres(view, sent, "side_2_m")
    if first is None or second is None:
        return None
    clicked = [corner for corner in corners if corner is not None]
    return _turned_and_moved(plan_image.from_rectangle(clicked, first, second), sent)


def _by_points(view: SiteView, sent: form.Form) -> Placement | None:
    pixels: list[Pixel] = []
    ground: list[Pixel] = []
    for n in range(1, 5):
        across, up = sent.number(f"known_{n}_across"), sent.number(f"known_{n}_up")
        if across is None or up is None:
            continue
        pixel = _pixel(sent, f"known_{n}")
        if pixel is not None:
            pixels.append(pixel)
            ground.append((across, up))
    if view.terms.frame == "local" or sent.text("known_in") == "m":
        per = lengths.per_unit(view.terms.units)
        return plan_image.from_points(pixels, [(across * per, up * per) for across, up in ground])
    lon, lat = (
        (sum(numbers) / len(numbers) for numbers in zip(*ground, strict=True)) if ground else (0.0, 0.0)
    )
    x, y = LocalFrame(lon, lat).to_plane([point[0] for point in ground], [point[1] for point in ground])
    return plan_image.from_points(pixels, list(zip(x, y, strict=True)), lon, lat)


def _turned_and_moved(placement: Placement, sent: form.Form) -> Placement:
    foot, tip = _pixel(sent, "north_1", False), _pixel(sent, "north_2", False)
    if foot is not None and tip is not None:
        placement = plan_image.with_north(placement, foot, tip)
    point = _pixel(sent, "point", False)
    lon, lat = sent.number("point_lon"), sent.number("point_lat")
    if point is not None and lon is not None and lat is not None:
        return plan_image.with_point_on_earth(placement, point, lon, lat)
    return placement


def _misfit(view: SiteView, placement: Placement, sent: form.Form) -> float | None:
    first, second, metres = (
        _pixel(sent, "check_1", False),
        _pixel(sent, "check_2", False),
        lengths.typed(sent, "check_m", view.terms.units),
    )
    if first is None or second is None or metres is None:
        return None
    return plan_image.check_length(placement, first, second, metres)


def _pixel(sent: form.Form, name: str, needed: bool = True) -> Pixel | None:
    said = sent.text(name)
    found = _PIXEL.fullmatch(said or "")
    if found is not None:
        return float(found[1]), float(found[2])
    if said or needed:
        sent.faults[name] = _("Click it on the picture, or type its place as two numbers of pixels.")
    return None


def _metres(view: SiteView, sent: form.Form, name: str) -> float | None:
    metres = lengths.typed(sent, name, view.terms.units)
    if metres is None:
        sent.faults.setdefault(name, _("Type how long it is on the ground."))
    return metres


def _place_page(view: SiteView, image: PlanImage, sent: form.Form) -> Any:
    page = frame.site_page("plan_place.html", view, "ground", form=sent, image=image)
    return page, (422 if sent.faults else 200)


@bp.get("/sites/<slug>/plans/<id>/picture.png")
def picture(slug: str, id: str) -> Response:
    """The picture as it was brought."""
    image = plan_image_of(current.store(), slug, id)
    box = file_box(current.store(), current.settings().data_folder)
    return frame.kept_answer(box.get(image.file_hash), "image/png", image.file_hash[:32])


@bp.get("/sites/<slug>/plans/<id>/north-up.png")
def north_up(slug: str, id: str) -> Response:
    """The picture as it lies on the map."""
    image = plan_image_of(current.store(), slug, id)
    tag = f"{image.file_hash[:24]}-{image.version}"
    held = frame.unchanged(tag)
    if held is not None:
        return held
    box = file_box(current.store(), current.settings().data_folder)
    return frame.kept_answer(north_up_png(box, image), "image/png", tag)
