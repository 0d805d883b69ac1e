"""Every word that the day page prints by itself, in English; pages may give them translated."""

from layers.cautions import LONG
from layers.day_page import KIT
from layers.translating import N_

DAY_WORDS: dict[str, str] = {
    **{f"kit.{word}": words for word, words in KIT.items()},
    **{f"point.{point.key}": point.title for point in LONG},
    "day_title": N_("Day page"),
    "day_leader": N_("for the leader"),
    "days": N_("Days"),
    "fall_back_on": N_("If it rains or blows, instead on"),
    "leader": N_("Leader"),
    "stand_in": N_("Stand-in"),
    "by_hand": N_("Write these two by hand; they are kept nowhere."),
    "permission": N_("Permission asked on"),
    "given": N_("given on"),
    "tree_check": N_("Trees looked over by"),
    "on": N_("on"),
    "within": N_("at most {days} days before the start, and again after any storm"),
    "wind_limit": N_("Wind in which nobody measures"),
    "wind_reading": N_("Wind of the day"),
    "who_calls": N_("Who calls whom"),
    "first_aid": N_("First aid"),
    "toilets": N_("Toilets"),
    "water": N_("Water, shade"),
    "allergies": N_("Allergies and medicines were asked about"),
    "caution_read": N_("The long caution was read, every point of it:"),
    "note": N_("Note"),
    "kit": N_("To take along"),
    "teams": N_("Teams"),
    "head.team": N_("team"),
    "head.kind": N_("who"),
    "head.trees": N_("trees"),
    "head.minutes": N_("about"),
    "head.way": N_("way"),
    "head.back": N_("back at"),
    "head.counted": N_("all back?"),
    "minutes": N_("{minutes} min"),
    "pupils": N_("pupils with their leader"),
    "volunteers": N_("volunteers"),
    "trained staff": N_("trained staff"),
    "meeting": N_("Meeting point"),
    "map_note": N_(
        "Every walk begins and ends at the meeting point. No team crosses a road, water or fence."
    ),
    "assumed": N_("Times are assumptions: minutes at each tree by its size, {speed} on foot."),
    "timed": N_("Times are from {gaps} earlier times between trees on this ground."),
    "practice": N_("practice tree"),
    "twice": N_("two teams"),
    "started_anyway": N_("Started anyway because"),
    "at_each": N_("Practice trees come first: all teams measure the same ones, compare, and only then go."),
}
