"""A plan or photo of the ground: kept, placed on the ground, drawn north up (definitions R8)."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layers import plan_image
from layers.ground import LocalFrame
from service.actors import Actor
from service.errors import InvalidRequest, NotFound
from service.file_box import FileBox
from service.pictures import as_png, picture_from, turned
from service.records import PlanImageIn, parsed
from service.store import changes, schema
from service.store.engine import Store
from service.store.rows import by_ids, insert_records, revise
from service.store.site_rows import find_site, has_ground, held_site, set_frame


@dataclass(frozen=True)
class PlanImage:
    """A plan image as it is kept: its size [px] and, once placed, how it lies and how far off it is."""

    id: str
    version: int
    name: str
    file_hash: str
    width_px: int
    height_px: int
    placement: plan_image.Placement | None
    misfit_share: float | None


def file_box(store: Store, data_folder: Path) -> FileBox:
    """Return the box of files of a store: beside a store that is a file, else in the data folder."""
    return FileBox((store.folder or data_folder) / "files")


def add_plan_image(
    store: Store, box: FileBox, slug: str, actor: Actor, name: str, content: bytes, page: int = 1
) -> str:
    """Keep an uploaded plan, photo or PDF page; return its id. It is placed afterwards.

    Raises
    ------
    Unreadable
        If it is no picture, or too large.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    picture = picture_from(content, page)
    record = parsed(PlanImageIn, {"name": name or "plan"})
    file_hash = box.put(as_png(picture))
    with store.write() as connection:
        site = held_site(connection, slug)
        made = changes.begin(connection, site.fid, actor, "entry", "plan image")
        row = {
            "id": record.id,
            "name": record.name,
            "file_hash": file_hash,
            "media_type": "image/png",
            "width_px": picture.width,
            "height_px": picture.height,
            "site_id": site.fid,
            "change_id": made.fid,
            "version": 1,
            "void": 0,
        }
        insert_records(connection, schema.plan_image, [row])
    return record.id


def place_plan_image(
    store: Store,
    slug: str,
    actor: Actor,
    id: str,
    seen_version: int,
    placement: plan_image.Placement,
    misfit_share: float | None,
) -> int:
    """Say how a plan image lies on the ground; return its new version.

    A placement without a point on earth makes a site without any position a local one.

    Raises
    ------
    InvalidRequest
        If the placement is on earth and the site is not, or the other way round.
    NotFound
        If there is no such site or picture.
    StaleVersion
        If somebody placed it meanwhile.
    NotPermitted
        If the actor may not manage.
    """
    actor.require("manage")
    with store.write() as connection:
        site = held_site(connection, slug)
        if site.frame != placement.frame:
            if has_ground(connection, site):
                raise InvalidRequest(
                    "What is on this ground already has a place on earth; say where one point of the plan is."
                    if site.frame == "earth"
                    else "This ground has no place on earth yet; leave the point on earth out."
                )
            set_frame(connection, site.fid, placement.frame)
        made = changes.begin(connection, site.fid, actor, "edit", "plan image placed")
        cells = {"placement": json.dumps(placement.to_dict()), "misfit_share": misfit_share}
        return revise(connection, schema.plan_image, site.fid, id, seen_version, cells, made.fid)


def plan_image_of(store: Store, slug: str, id: str) -> PlanImage:
    """Return one plan image.

    Raises
    ------
    NotFound
        If there is no such site or picture.
    """
    with store.read() as connection:
        site = find_site(connection, slug)
        row = by_ids(connection, schema.plan_image, site.fid, [id]).get(id)
    if row is None or row.void:
        raise NotFound("plan image", id)
    return from_row(row._mapping)


def from_row(row: Any) -> PlanImage:
    """Return a plan image from its row in the store."""
    placed = row["placement"]
    return PlanImage(
        id=row["id"],
        version=int(row["version"]),
        name=row["name"],
        file_hash=row["file_hash"],
        width_px=int(row["width_px"]),
        height_px=int(row["height_px"]),
        placement=plan_image.from_dict(json.loads(placed)) if placed else None,
        misfit_share=row["misfit_share"],
    )


def north_up_png(box: FileBox, image: PlanImage) -> bytes:
    """Return a placed plan image redrawn with north up, as PNG.

    Raises
    ------
    NotFound
        If it is not placed, or its file is gone.
    """
    if image.placement is None:
        raise NotFound("placed plan image", image.id)
    turn = plan_image.north_up(image.placement, image.width_px, image.height_px)
    picture = picture_from(box.get(image.file_hash))
    return as_png(turned(picture, (turn.width_px, turn.height_px), turn.coefficients))


def bounds(image: PlanImage) -> list[float] | None:
    """Return west, south, east, north of a placed plan image [deg, or m on a local ground]; None unplaced."""
    if image.placement is None:
        return None
    box = plan_image.north_up(image.placement, image.width_px, image.height_px).box_m
    if image.placement.lon_deg is None or image.placement.lat_deg is None:
        return [float(number) for number in box]
    frame = LocalFrame(image.placement.lon_deg, image.placement.lat_deg)
    lon, lat = frame.to_earth([box[0], box[2]], [box[1], box[3]])
    return [float(lon[0]), float(lat[0]), float(lon[1]), float(lat[1])]
