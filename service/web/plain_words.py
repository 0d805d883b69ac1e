"""The fixed pairs: a word of the data and the plain words that a page says for it."""

from typing import Any

from flask import Flask
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l

from layers.chart_causes import CAUSE_WORDS
from layers.sights import SIGHTS
from layers.telling import INSTRUMENTS
from service.actors import LOCAL_MANAGER
from service.web.choices import HELPER_STATUSES, POSITION_SOURCES, USES
from service.web.display import text

STATUS = {
    "living": _l("living"),
    "dead": _l("dead, standing"),
    "removed": _l("taken out"),
    "unknown": _l("not said"),
}
NAME_SURE = {
    "sure": _l("name sure"),
    "doubtful": _l("name doubtful"),
    "unknown": _l("name not known"),
}
KEEPER = {
    "ours": _l("ours"),
    "shared": _l("shared"),
    "not ours": _l("not ours"),
    "not known": _l("not known"),
}
AREA_KIND = {
    "boundary": _l("boundary"),
    "play area": _l("play area"),
    "lawn": _l("lawn"),
    "woodland": _l("woodland"),
    "car park": _l("car park"),
    "street": _l("street"),
    "building edge": _l("building edge"),
    "place": _l("named part"),
    "site": _l("whole ground"),
    "other": _l("other"),
}
INSTRUMENT = {word: _l(words) for word, words in INSTRUMENTS.items()}
CREW_KIND = {
    "pupils": _l("pupils with their leader"),
    "volunteers": _l("volunteers"),
    "trained staff": _l("trained staff"),
}
READING_STATE = {
    "live": _l("counts"),
    "superseded": _l("corrected since"),
    "void": _l("crossed out"),
    "waiting": _l("waits for the measurement that it corrects"),
    "cycle": _l("corrects itself in a circle"),
}
CAUSE_KIND = {word: _l(words) for word, words in CAUSE_WORDS.items()}
LEVEL = {
    "walk-over": _l("walk-over"),
    "formal": _l("formal inspection"),
    "detailed": _l("detailed inspection"),
}
ANSWER = {
    "nothing recorded": _l("nothing recorded"),
    "recorded": _l("something recorded"),
    "not reached": _l("not reached or not seen"),
}
SEEN = {
    **{word: _l(sight.plain) for word, sight in SIGHTS.items()},
    "height": _l("height"),
    "crown diameter": _l("crown across"),
    "note": _l("note"),
}
FLAG_KIND = {
    "sign": _l("to be looked at"),
    "circumstance": _l("around the tree"),
    "gap": _l("to find out"),
}

LAYER = {
    "trees": _l("trees"),
    "stems": _l("trunks"),
    "readings": _l("measurements of trunks"),
    "areas": _l("areas"),
    "places": _l("parts of the ground, stumps, gaps"),
    "targets": _l("what is underneath"),
    "flags": _l("to be looked at"),
    "inspections": _l("inspections"),
    "figures": _l("figures"),
}
ENTRY = {
    "tree": _l("a tree"),
    "reading": _l("measurements"),
    "settling": _l("a question settled"),
    "calibration": _l("the hand of a team"),
    "observation": _l("what was seen"),
    "status_event": _l("what became of a tree"),
    "inspection": _l("a look"),
    "finding": _l("an answer to a question"),
    "area": _l("an area"),
    "target": _l("what is underneath"),
    "round": _l("measuring days"),
    "crew": _l("a team"),
    "danger_report": _l("a danger that was seen"),
    "danger_answer": _l("an answer to a danger"),
    "closure": _l("a closed place"),
    "hazard": _l("a hazard"),
    "plan image": _l("a plan"),
    "plan image placed": _l("how a plan lies"),
    "set aside": _l("what phones sent and a person mends"),
    "picture": _l("a picture"),
    "photo": _l("where a picture belongs"),
    "crossed out: tree": _l("a tree, crossed out"),
    "crossed out: area": _l("an area, crossed out"),
    "crossed out: target": _l("what is underneath, crossed out"),
    "crossed out: closure": _l("a closed place, crossed out"),
    "crossed out: hazard": _l("a hazard, crossed out"),
}
PHOTO = {
    "tape": _l("the tape round the trunk"),
    "leaf": _l("a leaf"),
    "tree": _l("the tree"),
    "danger": _l("a danger"),
    "other": _l("a picture"),
}
CHANGE_KIND = {
    "init": _l("ground made"),
    "import": _l("list brought in"),
    "entry": _l("entered"),
    "edit": _l("changed"),
    "undo": _l("taken back"),
    "terms": _l("terms of the ground changed"),
    "model": _l("error model put into use, version"),
}

WHO = {LOCAL_MANAGER.handle: _l("local manager")}
FIGURE = {
    "area_ha": _l("size of the ground"),
    "area_se_ha": _l("what the size of the ground may be off"),
    "trees_per_ha": _l("trees on the ground"),
    "stems_per_ha": _l("trunks on the ground"),
    "basal_area_m2": _l("cut face of all trunks together"),
    "basal_area_m2_per_ha": _l("cut face on the ground"),
    "mean_dbh_cm": _l("mean width of a trunk"),
    "canopy_cover_pct": _l("shade: ground under leaves"),
    "carbon_t": _l("carbon in the wood"),
    "components": _l("change between two days"),
    "counting_limit_cm": _l("smallest width that was taken in"),
    "near_edge": _l("trees near the edge of the ground"),
    "to_be_looked_at": _l("to be looked at"),
    "species": _l("kinds of trees"),
}


TAPER_SET = {
    "soft maple and birch": _l("soft maple and birch"),
    "poplar, alder and willow": _l("poplar, alder and willow"),
    "mixed hardwood": _l("mixed broadleaved trees"),
    "oak, hickory, beech and hard maple": _l("oak, hickory, beech and hard maple"),
    "pine": _l("pine"),
    "spruce": _l("spruce"),
    "fir, cedar, hemlock and larch": _l("fir, cedar, hemlock and larch"),
}


def said(table: dict[str, Any], word: Any) -> str:
    """Return the plain words for a word of the data, the word itself where there are none."""
    return str(table[word]) if word in table else text(word)


def sources_said(source: str) -> str:
    """Return where parts of an error are from, in the language of the page; one may hold several."""
    return "; ".join(str(_(each)) for each in source.split("; "))


def set_words(name: str) -> str:
    """Return the plain words for a set of species that shares a stem profile."""
    return said(TAPER_SET, name)


def init_app(app: Flask) -> None:
    """Give the templates the fixed pairs."""
    for name, table in (
        ("status_words", STATUS),
        ("sure_words", NAME_SURE),
        ("keeper_words", KEEPER),
        ("kind_words", AREA_KIND),
        ("crew_words", CREW_KIND),
        ("state_words", READING_STATE),
        ("level_words", LEVEL),
        ("answer_words", ANSWER),
        ("flag_words", FLAG_KIND),
        ("seen_words", SEEN),
        ("entry_words", ENTRY),
        ("photo_words", PHOTO),
        ("position_words", dict(POSITION_SOURCES)),
        ("instrument_words", INSTRUMENT),
        ("use_words", dict(USES)),
        ("who_words", WHO),
        ("figure_words", FIGURE),
    ):
        app.jinja_env.globals[name] = _pair(table)
    app.jinja_env.filters["status_said"] = _pair({**STATUS, **dict(HELPER_STATUSES)})
    app.jinja_env.globals.update(layer_words=LAYER, change_words=CHANGE_KIND)


def _pair(table: dict[str, Any]) -> Any:
    return lambda word: said(table, word)
