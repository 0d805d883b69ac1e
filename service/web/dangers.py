"""Dangers that nobody has answered: they stand on top of every page of the ground."""

import re
from dataclasses import dataclass
from typing import Any

from flask_babel import gettext as _

from layers.sights import SIGHTS
from layers.stop_card import CALLED, LEADER_DID
from service.view import SiteView
from service.web import display, plain_words

Row = dict[Any, Any]

_CAN_BE_DIALLED = re.compile(r"\+?[\d ()/.-]{3,30}")


@dataclass(frozen=True)
class Danger:
    """One danger that was reported: what was seen, when, by which kind of team, what was done at once."""

    id: str
    sight: str
    seen: str
    by: str
    text: str | None
    done: str | None
    answered: bool


@dataclass(frozen=True)
class Spot:
    """A tree or place where danger was seen, with all that was reported there, the latest first."""

    tree_id: str | None
    tag: str | None
    place: str | None
    dangers: tuple[Danger, ...]


def open_spots(view: SiteView) -> list[Spot]:
    """Return where danger was seen that no manager has answered, the latest first."""
    dangers = view.dangers
    return spots_of(view, dangers[~dangers["answered"]].to_dict("records"))


def spots_of(view: SiteView, rows: list[Row]) -> list[Spot]:
    """Return rows of ``view.dangers`` by where they were seen, in their order."""
    trees = view.records.trees
    known = trees[trees["tree_id"].isin([row["tree_id"] for row in rows])]
    tree_of = {tree.tree_id: tree for tree in known.itertuples()}
    found: dict[tuple[Any, ...], list[Row]] = {}
    for row in rows:
        found.setdefault(_where(row), []).append(row)
    return [
        Spot(
            tree_id=rows[0]["tree_id"] if rows[0]["tree_id"] in tree_of else None,
            tag=getattr(tree_of.get(rows[0]["tree_id"]), "tag", None),
            place=rows[0]["place"] or getattr(tree_of.get(rows[0]["tree_id"]), "place", None),
            dangers=tuple(_danger(view, row) for row in rows),
        )
        for rows in found.values()
    ]


def same_spot(view: SiteView, danger_id: str) -> list[Row]:
    """Return the row of a danger and the open ones that were seen at the same place; empty where unknown."""
    rows = view.dangers.to_dict("records")
    asked = [row for row in rows if row["danger_id"] == danger_id]
    if not asked:
        return []
    there = [row for row in rows if _where(row) == _where(asked[0]) and not row["answered"]]
    return asked + [row for row in there if row["danger_id"] != danger_id]


def _where(row: Row) -> tuple[Any, ...]:
    if row["tree_id"]:
        return (row["tree_id"],)
    return (None, row["place"], *(row[name] for name in ("lon_deg", "lat_deg", "x_m", "y_m")))


def _danger(view: SiteView, row: Row) -> Danger:
    sight = SIGHTS.get(row["sight"])
    day = row["seen_on"]
    seen = display.day(day) if day else display.moment(row["received_at"], view.terms.time_zone)
    kind = plain_words.said(plain_words.CREW_KIND, row["crew_kind"]) if row["crew_kind"] else None
    by = ", ".join(part for part in (kind, row["crew"]) if part)
    return Danger(
        id=row["danger_id"],
        sight=str(_(sight.plain)) if sight else row["sight"],
        seen=seen,
        by=by or str(_("not said by whom")),
        text=row["text"] or None,
        done=_done(view, row),
        answered=bool(row["answered"]),
    )


def _done(view: SiteView, row: Row) -> str | None:
    """What was done at once, in words; None where nothing was said."""
    words = [str(_(LEADER_DID[word])) for word in row["leader_did"] if word in LEADER_DID]
    if row["leader_called"]:
        words = [said for said in words if said != str(_(LEADER_DID[CALLED]))]
        words.append(str(_("called: %(whom)s", whom=row["leader_called"])))
    if row["leader_at"] and words:
        words.append(display.moment(row["leader_at"], view.terms.time_zone))
    return "; ".join(words) or None


def dialled(phone: str | None) -> str | None:
    """Return a number as a telephone takes it; None where the text is no number alone."""
    if phone is None or not _CAN_BE_DIALLED.fullmatch(phone.strip()):
        return None
    return "".join(letter for letter in phone if letter.isdigit() or letter == "+")
