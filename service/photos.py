"""Pictures that phones took: drawn anew without anything but their pixels, kept apart from readings."""

import hashlib
import io
from dataclasses import dataclass
from typing import Any

from PIL import Image

from service.actors import Actor
from service.errors import Conflict, InvalidRequest, NotFound, Unreadable
from service.file_box import FileBox
from service.pictures import picture_from
from service.store import changes, schema
from service.store.engine import Row, Store
from service.store.field_rows import observations_of, pictures_of
from service.store.rows import by_ids, insert_records, known_elsewhere
from service.store.site_rows import find_site, held_site
from service.view import SiteView

MOST_BYTES = 8 << 20  # of a picture as it is sent; phones make theirs smaller themselves
LONGEST_PX = 1600
QUALITY = 82
MEDIA_TYPE = "image/jpeg"
_BEGINS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")


@dataclass(frozen=True)
class Photo:
    """That a picture belongs to a tree: of what kind, taken when, by which team; its size [px] once here."""

    photo_id: str
    kind: str
    taken_at: str | None
    crew: str | None
    width_px: int | None
    height_px: int | None


def keep_picture(store: Store, box: FileBox, slug: str, actor: Actor, photo_id: str, content: bytes) -> bool:
    """Keep a picture by the id that its phone gave it; return whether it is new.

    It may come before or after what says where it belongs.

    Raises
    ------
    InvalidRequest
        If it is too large.
    Unreadable
        If it is no JPEG or PNG that can be read.
    Conflict
        If this id has another picture.
    NotFound
        If there is no such site.
    NotPermitted
        If the actor may not measure.
    """
    actor.require("measure")
    sent_hash = hashlib.sha256(content).hexdigest()
    if _is_here(store, slug, photo_id, sent_hash):
        return False
    picture = _smaller(content)
    made = _as_jpeg(picture)
    file_hash = box.put(made)
    row: dict[str, Any] = {
        "id": photo_id,
        "sent_hash": sent_hash,
        "file_hash": file_hash,
        "media_type": MEDIA_TYPE,
    }
    row |= {"bytes": len(made), "width_px": picture.width, "height_px": picture.height}
    with store.write() as connection:
        site = held_site(connection, slug)
        if by_ids(connection, schema.picture, site.fid, [photo_id]):
            return False
        change = changes.begin(connection, site.fid, actor, "entry", "picture")
        own = {"site_id": site.fid, "change_id": change.fid, "received_at": changes.now()}
        insert_records(connection, schema.picture, [{**row, **own, "actor": actor.handle}])
    return True


def _is_here(store: Store, slug: str, photo_id: str, sent_hash: str) -> bool:
    with store.read() as connection:
        site = find_site(connection, slug)
        row = by_ids(connection, schema.picture, site.fid, [photo_id]).get(photo_id)
        if known_elsewhere(connection, schema.picture, site.fid, [photo_id]):
            raise Conflict("picture", photo_id, None, None)
    if row is not None and row.sent_hash != sent_hash:
        raise Conflict("picture", photo_id, {"hash": sent_hash}, {"hash": row.sent_hash})
    return row is not None


def _smaller(content: bytes) -> Image.Image:
    if len(content) > MOST_BYTES:
        raise InvalidRequest(f"A picture has at most {MOST_BYTES >> 20} MB; take it again with fewer pixels.")
    if not content.startswith(_BEGINS):
        raise Unreadable("This is no picture that can be read. Send a PNG, JPEG or PDF file.")
    picture = picture_from(content)
    picture.thumbnail((LONGEST_PX, LONGEST_PX))
    return picture


def _as_jpeg(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def picture_of(store: Store, box: FileBox, slug: str, photo_id: str) -> bytes:
    """Return a picture as JPEG.

    Raises
    ------
    NotFound
        If the site has none of that id, or its file is gone.
    """
    with store.read() as connection:
        site = find_site(connection, slug)
        row = by_ids(connection, schema.picture, site.fid, [photo_id]).get(photo_id)
    if row is None:
        raise NotFound("picture", photo_id)
    return box.get(row.file_hash)


def photos_of_tree(store: Store, view: SiteView, tree_id: str) -> list[Photo]:
    """Return the pictures of a tree, of its readings, and of what was seen of it; the latest first."""
    records = view.records
    stems = records.stems.loc[records.stems["tree_id"] == tree_id, "stem_id"]
    readings = records.readings.loc[records.readings["stem_id"].isin(stems), "reading_id"]
    reports = records.danger_reports
    dangers = reports.loc[reports["tree_id"] == tree_id, "id"] if len(reports) else []
    with store.read() as connection:
        site = find_site(connection, view.terms.slug)
        seen = observations_of(connection, site.fid, tree_id)
        rows = pictures_of(connection, site.fid, [tree_id, *readings, *dangers, *seen])
    return [_photo(row) for row in rows]


def _photo(row: Row[Any]) -> Photo:
    return Photo(row.photo_id, row.kind, row.taken_at, row.crew, row.width_px, row.height_px)
