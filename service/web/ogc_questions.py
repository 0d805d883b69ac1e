"""What a request asks of a collection; what cannot be asked is refused with the name of its parameter.

References
----------
OGC 17-069r4, OGC API - Features - Part 1: Core, sections 7.15.1 to 7.15.5; OGC 18-058r1, Part 2, sections 6.2
and 6.3.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

import shapely
from flask import request
from flask_babel import gettext as _

from service.cql_filter import LANGUAGES, parsed
from service.cql_nodes import All, Drawn, IsNull, Meets, Node, Property, Some
from service.crs_list import CRS84, box_to_crs84, is_geographic, outline_in_crs84, shape_to_crs84
from service.errors import InvalidRequest
from service.feature_kinds import GEOMETRY
from service.feature_questions import DEFAULT_LIMIT, MAX_LIMIT, Asked, Box, By
from service.features import MAX_ORDER
from service.layer_parts import LayerColumn
from service.web import current
from service.web.ogc_parameters import OF_ITEMS, sortable
from service.web.ogc_times import days_of

PAGE_LIMIT = 100  # of a page for people, where no limit is said
WHOLE_TURN_DEG = 360.0
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True)
class Question:
    """What is asked, and the system in which positions are to be given."""

    asked: Asked
    crs: str


def only(known: Iterable[str]) -> None:
    """Refuse parameters that are not known here, and those that are said twice.

    Raises
    ------
    InvalidRequest
        If there are any; each with its name.
    """
    names = list(known)
    shown = ", ".join(names[:30]) + (" ..." if len(names) > 30 else "")
    faults = [
        (name[:60], _("There is no such parameter here; there are: %(names)s.", names=shown))
        for name in request.args
        if name not in names
    ]
    faults += [
        (name, _("It is said more than once; say it once."))
        for name, said in request.args.lists()
        if len(said) > 1 and name in names
    ]
    if faults:
        raise InvalidRequest(faults)


def asked_crs(name: str, systems: Iterable[str]) -> str:
    """Return the system that a parameter names, CRS84 by default.

    Raises
    ------
    InvalidRequest
        If it is not among those that are offered.
    """
    said, listed = request.args.get(name, CRS84), list(systems)
    if said not in listed:
        what = _(
            "%(said)s is not offered here; there are: %(all)s.", said=repr(said)[:80], all=", ".join(listed)
        )
        raise InvalidRequest([(name, what)])
    return said


def question(
    queryables: tuple[LayerColumn, ...], systems: Iterable[str], sites: Iterable[str], form: str
) -> Question:
    """Return what the request asks of a collection.

    Raises
    ------
    InvalidRequest
        If a parameter is not known or its value cannot be used.
    """
    listed = list(systems)
    properties = [column.name for column in queryables if column.name not in OF_ITEMS]
    only([*OF_ITEMS, *properties])
    said = request.args
    box, outline = _box(listed)
    time = said.get("datetime")
    asked = Asked(
        site=_site(sites),
        as_of=asked_day(),
        box=box,
        time=None if time is None else days_of(time),
        equals={name: said[name] for name in properties if name in said},
        filter=_together(_filter(listed, queryables), outline),
        order=_order(queryables),
        limit=_limit(form),
        after=said.get("token"),
    )
    return Question(asked, asked_crs("crs", listed))


def _limit(form: str) -> int:
    said = request.args.get("limit")
    if said is None:
        return PAGE_LIMIT if form == "html" else DEFAULT_LIMIT
    if not (said.isascii() and said.isdigit()) or not said.strip("0"):
        raise InvalidRequest([("limit", _("Give a whole number from 1 to %(most)s.", most=MAX_LIMIT))])
    return MAX_LIMIT if len(said.lstrip("0")) > 9 else min(int(said), MAX_LIMIT)


def _site(sites: Iterable[str]) -> str | None:
    said = request.args.get("site")
    if said is not None and said not in set(sites):
        raise InvalidRequest([("site", _("There is no ground %(said)s.", said=repr(said)[:60]))])
    return said


def _box(systems: list[str]) -> tuple[Box | None, Node | None]:
    """The box in CRS84; with the outline to be met where its sides are not those of that box."""
    uri, said = asked_crs("bbox-crs", systems), request.args.get("bbox")
    if said is None:
        return None, None
    numbers = [float(text) if _NUMBER.fullmatch(text) else math.nan for text in said.split(",")]
    if len(numbers) not in (4, 6) or not all(map(math.isfinite, numbers)):
        what = _(
            "Give four or six numbers with commas between them: the lowest of each axis, then the highest."
        )
        raise InvalidRequest([("bbox", what)])
    low, high = numbers[: len(numbers) // 2], numbers[len(numbers) // 2 :]
    corners = (low[0], low[1], high[0], high[1])
    box = box_to_crs84(uri, corners)
    across = is_geographic(uri)  # only there an axis goes round
    if box is None or box[1] > box[3] or (not across and (low[0] > high[0] or low[1] > high[1])):
        raise InvalidRequest([("bbox", _("It ends before it begins, or lies outside of its system."))])
    return _on_earth(box), None if across else _outline(uri, corners)


def _on_earth(box: Box) -> Box:
    """Return the same box with longitudes from -180 to 180 [deg]; maps send more when they show more."""
    west, south, east, north = box
    if east - west >= WHOLE_TURN_DEG:
        west, east = -180.0, 180.0
    return _turned(west), max(south, -90.0), _turned(east), min(north, 90.0)


def _turned(lon: float) -> float:
    return lon if -180.0 <= lon <= 180.0 else (lon + 180.0) % WHOLE_TURN_DEG - 180.0


def _outline(uri: str, corners: Box) -> Node | None:
    """What a feature must meet beside the box: its straight sides are none in longitude and latitude."""
    shape = outline_in_crs84(uri, corners)
    if shape is None:
        return None
    place = Property(GEOMETRY)
    return Some((IsNull(place), Meets(place, Drawn(wkb=bytes(shapely.to_wkb(shape))))))


def _filter(systems: list[str], queryables: tuple[LayerColumn, ...]) -> Node | None:
    language = request.args.get("filter-lang", LANGUAGES[0])
    if language not in LANGUAGES:
        what = _("%(said)s is none of: %(all)s.", said=repr(language)[:40], all=", ".join(LANGUAGES))
        raise InvalidRequest([("filter-lang", what)])
    uri, text = asked_crs("filter-crs", systems), request.args.get("filter")
    return None if text is None else parsed(text, language, shape_to_crs84(uri))


def _together(*conditions: Node | None) -> Node | None:
    held = tuple(each for each in conditions if each is not None)
    return All(held) if len(held) > 1 else next(iter(held), None)


def _order(queryables: tuple[LayerColumn, ...]) -> tuple[By, ...]:
    said = request.args.get("sortby")
    if said is None:
        return ()
    names = {column.name for column in queryables if sortable(column.name)}
    orders = [By(text.lstrip(" +-"), text.startswith("-")) for text in said.split(",")]
    unknown = [order.name for order in orders if order.name not in names]
    if unknown or len(orders) > MAX_ORDER:
        what = _(
            "Name at most %(most)s properties, with - before those that fall; %(name)s is none to sort by.",
            most=MAX_ORDER,
            name=repr((unknown or [said])[0])[:60],
        )
        raise InvalidRequest([("sortby", what)])
    first: dict[str, By] = {}
    for order in orders:  # said again it changes nothing
        first.setdefault(order.name, order)
    return tuple(first.values())


def asked_day() -> str | None:
    """Return the day that is told of, None for today.

    Raises
    ------
    InvalidRequest
        If it is no day.
    """
    if not request.args.get("as_of", "-").strip():
        raise InvalidRequest([("as_of", _("Write the day as YYYY-MM-DD."))])
    return current.asked_day()
