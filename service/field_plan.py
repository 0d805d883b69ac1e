"""The picture of a ground for phones: the plan placed last, north up, small enough for an old phone."""

import io
from collections import OrderedDict
from threading import Lock

from PIL import Image

from layers import plan_image
from layers.ground import LocalFrame
from service.errors import NotFound
from service.file_box import FileBox
from service.plan_images import PlanImage, from_row, north_up_png
from service.view import SiteView

MOST_BYTES = 400_000
LONGEST_PX = (1600, 1200, 900, 640, 400)
COLOURS = 128
_KEPT = 4
Corners = list[list[float]]
_small: OrderedDict[tuple[str, int], bytes] = OrderedDict()
_lock = Lock()


def shown_plan(view: SiteView) -> PlanImage | None:
    """Return the plan image that was placed last on the ground; None where there is none."""
    for row in reversed(view.records.plan_images.to_dict("records")):
        image = from_row(row)
        if image.placement is not None and image.placement.frame == view.terms.frame:
            return image
    return None


def corners_of(image: PlanImage, frame: LocalFrame | None) -> Corners | None:
    """Return the corners of a plan drawn north up, in the metres of a plane: top left, then clockwise."""
    placed = image.placement
    if placed is None:
        return None
    west, south, east, north = plan_image.north_up(placed, image.width_px, image.height_px).box_m
    x, y = [west, east, east, west], [north, north, south, south]
    if placed.lon_deg is not None and placed.lat_deg is not None:
        if frame is None:
            return None
        lon, lat = LocalFrame(placed.lon_deg, placed.lat_deg).to_earth(x, y)
        there = frame.to_plane(lon, lat)
        x, y = there[0].tolist(), there[1].tolist()
    return [[round(a, 2), round(b, 2)] for a, b in zip(x, y, strict=True)]


def small_plan(view: SiteView, box: FileBox) -> tuple[bytes, str]:
    """Return the picture of the ground as PNG, and its tag.

    Raises
    ------
    NotFound
        If no plan is placed, or its file is gone.
    """
    image = shown_plan(view)
    if image is None:
        raise NotFound("placed plan image", view.terms.slug)
    key = image.id, image.version
    with _lock:
        kept = _small.get(key)
    made = kept or _smaller(north_up_png(box, image))
    with _lock:
        _small[key] = made
        while len(_small) > _KEPT:
            _small.popitem(last=False)
    return made, f"{image.id}-{image.version}"


def _smaller(png: bytes) -> bytes:
    """The picture in few colours, as large as fits into ``MOST_BYTES``."""
    with Image.open(io.BytesIO(png)) as picture:
        whole = picture.convert("RGBA")
    made = png
    for longest in LONGEST_PX:
        smaller = whole.copy()
        smaller.thumbnail((longest, longest), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        smaller.quantize(COLOURS, method=Image.Quantize.FASTOCTREE).save(out, "PNG", optimize=True)
        made = out.getvalue()
        if len(made) <= MOST_BYTES:
            break
    return made
