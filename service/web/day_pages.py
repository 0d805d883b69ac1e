"""The day of measuring: what has to be settled first, the start, how far teams are, the close."""

from dataclasses import asdict
from typing import Any

from flask import Blueprint, flash, request
from flask_babel import gettext as _

from layers.day_page import CHECKED_WITHIN_DAYS, LINES, empty_lines
from service.round_days import (
    RoundNow,
    close,
    closing_of,
    planned_round,
    progress_of,
    start,
    write_day_page,
)
from service.view import SiteView, today_in
from service.web import current, form, frame, round_facts
from service.web.round_planning import kit_in_words

bp = Blueprint("day_pages", __name__)

TEXTS = (
    *("permission_asked_on", "permission_given_on", "tree_check_by", "tree_check_on", "wind_reading"),
    *("fall_back_on", "who_calls", "first_aid", "toilets", "water", "note"),
)
TICKS = ("allergies_asked", "caution_read")


@bp.route("/sites/<slug>/rounds/<round_id>/day", methods=["GET", "POST"])
def day_page(slug: str, round_id: str) -> Any:
    """The day page: its lines are kept, leader and stand-in are written on paper only."""
    view = current.site_view(slug)
    now = planned_round(view, round_id)
    if request.method == "GET":
        return _day(view, now, _known(now))
    sent = form.typed()
    values: dict[str, Any] = {name: text for name, text in sent.texts(*TEXTS).items() if text is not None}
    values |= {name: sent.text(name) == "yes" for name in TICKS}
    days = sent.number("tree_check_days")
    values["tree_check_days"] = CHECKED_WITHIN_DAYS if days is None else days
    version = sent.version()

    def write() -> int:
        return write_day_page(current.store(), slug, current.actor(), round_id, version, values)

    if form.tried(sent, write) is None:
        return _day(view, now, sent)
    flash(_("The day page is kept."))
    return form.away(f"/sites/{slug}/rounds/{round_id}/day")


@bp.post("/sites/<slug>/rounds/<round_id>/start")
def start_round(slug: str, round_id: str) -> Any:
    """Start: with tree check and wind written down, or with the reason why it is started anyway."""
    view = current.site_view(slug)
    now = planned_round(view, round_id)
    sent = form.typed()
    version = sent.version()

    def begin() -> int:
        return start(current.store(), slug, current.actor(), round_id, version, sent.text("anyway"))

    if form.tried(sent, begin) is None:
        known = _known(now)
        known.values["anyway"] = sent.values.get("anyway", "")
        known.faults.update(sent.faults)
        return _day(view, now, known)
    return form.away(f"/sites/{slug}/rounds/{round_id}/progress")


@bp.get("/sites/<slug>/rounds/<round_id>/progress")
def round_progress(slug: str, round_id: str) -> str:
    """How far the teams are; the page looks again by itself."""
    view = current.site_view(slug)
    now = planned_round(view, round_id)
    teams = progress_of(view, now)
    return frame.site_page(
        "round_progress.html",
        view,
        "sheets",
        now=now,
        days=round_facts.days_of(now),
        status=round_facts.STATUS[now.status],
        teams=teams,
        done=sum(team.done for team in teams),
        planned=sum(team.planned for team in teams),
        tags=_tags(view),
    )


@bp.route("/sites/<slug>/rounds/<round_id>/close", methods=["GET", "POST"])
def close_round(slug: str, round_id: str) -> Any:
    """Close: what is missing, what to check, what it costs to put right; kept with the round."""
    view = current.site_view(slug)
    now = planned_round(view, round_id)
    if request.method == "GET":
        return _close(view, now, form.blank(version=now.version))
    sent = form.typed()
    version = sent.version()

    def end() -> int:
        return close(current.store(), slug, current.actor(), round_id, version, sent.text("note"))

    if form.tried(sent, end) is None:
        return _close(view, now, sent)
    flash(
        _(
            "The measuring days are closed and the words of the teams have ended. "
            "What is missing is kept with them."
        )
    )
    return form.away(f"/sites/{slug}/rounds/{round_id}/close")


def _tags(view: SiteView) -> dict[str, str]:
    return {
        tree: tag or str(_("without a number"))
        for tree, tag in zip(view.plain_trees["tree_id"], view.plain_trees["tag"], strict=True)
    }


def _known(now: RoundNow) -> form.Form:
    page = now.day_page
    said = {name: page.get(name) for name in TEXTS}
    said["tree_check_days"] = page.get("tree_check_days", CHECKED_WITHIN_DAYS)
    ticked = {name: "yes" for name in TICKS if page.get(name)}
    return form.blank(**said, **ticked, version=now.version)


def _day(view: SiteView, now: RoundNow, sent: form.Form) -> Any:
    today = today_in(view.terms.time_zone)
    empty = empty_lines(now.day_page, view.terms.wind_limit, today) if now.status == "planned" else []
    page = frame.site_page(
        "day.html",
        view,
        "sheets",
        form=sent,
        now=now,
        days=round_facts.days_of(now),
        status=round_facts.STATUS[now.status],
        kit=kit_in_words(now),
        empty=[str(_(LINES[word])) for word in empty],
    )
    return page, (422 if sent.faults else 200)


def _close(view: SiteView, now: RoundNow, sent: form.Form) -> Any:
    found = {**asdict(closing_of(view, now)), "note": None} if now.closing is None else now.closing
    missing: dict[str, list[str]] = {}
    for team, tree in found["missing"]:
        missing.setdefault(now.codes.get(team, "?"), []).append(tree)
    page = frame.site_page(
        "round_close.html",
        view,
        "sheets",
        form=sent,
        now=now,
        days=round_facts.days_of(now),
        status=round_facts.STATUS[now.status],
        found=found,
        missing=missing,
        tags=_tags(view),
    )
    return page, (422 if sent.faults else 200)
