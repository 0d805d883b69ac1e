"""Every word that a measuring sheet prints by itself, in English; pages may give them translated.

Words in braces are filled in by the sheet.
"""

from layers import everyday_names
from layers.caution import CAUTION, NO_PHONE
from layers.map_words import MAP_WORDS
from layers.sights import DANGERS
from layers.stop_card import CALL, STOP, WHEN
from layers.translating import N_
from service.outlets.back_words import BACK_WORDS

SHEET_WORDS: dict[str, str] = {
    **BACK_WORDS,
    **everyday_names.WORDS,
    "caution": CAUTION,
    "no_phone": NO_PHONE,
    **{f"sight.{sight.word}": sight.plain for sight in DANGERS},
    "stop": STOP,
    "stop_call": CALL,
    "stop_when": WHEN,
    "title": N_("Measuring sheet"),
    "leader_title": N_("Leader's copy: not for helpers before they measured"),
    "sheet_of": N_("sheet {n} of {m}"),
    "round": N_("Measuring days"),
    "team": N_("Team"),
    "date": N_("Date"),
    "initials": N_("Leader's initials"),
    "meet": N_("Meet at"),
    "read": N_("read in"),
    "unit.cm": N_("CENTIMETRES (cm)"),
    "unit.mm": N_("MILLIMETRES (mm)"),
    "unit.m": N_("METRES (m)"),
    "unit.in": N_("INCHES (in)"),
    "unit.ft": N_("FEET (ft)"),
    "unit.hands": N_("HANDS (to a half)"),
    "unit.spans": N_("SPANS (to a half)"),
    "instrument.girth tape": N_("TAPE, distance round the trunk"),
    "instrument.diameter tape": N_("TAPE WITH WIDTHS, width of the trunk"),
    "instrument.caliper": N_("CALIPER, width of the trunk, two ways across"),
    "instrument.string and ruler": N_("STRING ROUND THE TRUNK, goes 3x30 + 12.5"),
    "instrument.hand breadths": N_("HAND BREADTHS, distance round the trunk"),
    "instrument.hand spans": N_("HAND SPANS, distance round the trunk"),
    "instrument.sighting": N_("SIGHTING, width of the trunk"),
    "instrument.eye": N_("BY EYE, width of the trunk"),
    "instrument.unknown": N_("WHAT DO YOU USE? Write it here:"),
    "at_height": N_("at {height} above the ground"),
    "level": N_("level all round, twice: write both; leave ivy on"),
    "fork": N_("fork below the line: measure each trunk"),
    "map": N_("Numbers on this map are the numbers of the rows."),
    "north": N_("N"),
    "no_map": N_("None of these trees has a place on the map yet."),
    "head.number": N_("map"),
    "head.tag": N_("tree number"),
    "head.where": N_("where and what"),
    "head.trunk": N_("which trunk"),
    "head.height_last": N_("height last time"),
    "head.last": N_("last time"),
    "head.expected": N_("expect about"),
    "head.guess": N_("first your guess"),
    "head.reading_1": N_("1st reading"),
    "head.reading_2": N_("2nd reading"),
    "head.height_now": N_("other height?"),
    "head.ivy": N_("ivy"),
    "head.two": N_("two trunks"),
    "head.not_found": N_("not found"),
    "head.dead": N_("looks dead"),
    "head.saw": N_("saw something"),
    "saw": N_("Saw something? Number on the map and what you saw:"),
    "trunk_of": N_("{n} of {m}"),
    "height_not_said": N_("?"),
    "at": N_("at {name}"),
    "from": N_("{distance} {direction} of {name}"),
    "from_row": N_("{distance} {direction} of number {number}"),
    "look_in": N_("no place on the map; look in {place}"),
    "look_anywhere": N_("no place on the map; ask your leader"),
    "no_tag": N_("none"),
    "no_name": N_("kind not known"),
    "directions": N_("north,north-east,east,south-east,south,south-west,west,north-west"),
    "rule": N_("This rule is 100 mm long. If it is not, print again at 100 %."),
    "code": N_("Sheet code, for typing it back"),
    "left_out": N_("Left out of the helpers' sheets, with the reason"),
    "sign": N_("to be looked at: {signs}"),
    "danger": N_("a danger that was seen"),
    "closed": N_("closed since {day}: {name}"),
    "closed_map": N_("closed: keep out"),
    **{key: words for key, words in MAP_WORDS.items() if key.startswith("hazard.")},
    "range_note": N_(
        "Expect about: last size at this height, two standard errors either way and up to {growth} of width "
        "a year on top (our rule). A reading outside is measured again, never changed to fit."
    ),
}
