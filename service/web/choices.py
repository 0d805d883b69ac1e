"""What forms let a person choose from: the word of the data and the plain words beside it."""

from flask_babel import lazy_gettext as _l

INSTRUMENTS = [
    ("girth tape", _l("tape measure, distance round the trunk")),
    ("diameter tape", _l("tape that shows the width")),
    ("caliper", _l("caliper")),
    ("string and ruler", _l("string, laid against a ruler")),
    ("hand breadths", _l("hand breadths, counted")),
    ("hand spans", _l("hand spans, counted")),
    ("sighting", _l("sighted along a ruler or stick")),
    ("eye", _l("estimated by eye")),
    ("unknown", _l("not known")),
]
QUANTITIES = [("girth", _l("distance round the trunk")), ("diameter", _l("width of the trunk"))]
UNITS = [("cm", _l("cm")), ("mm", _l("mm")), ("m", _l("m")), ("in", _l("inches")), ("ft", _l("feet"))]
READING_UNITS = [*UNITS, ("hands", _l("hands")), ("spans", _l("spans"))]
HAND_INSTRUMENTS = [
    ("hand breadths", _l("hand breadths")),
    ("hand spans", _l("spans, thumb to little finger")),
]
CREW_KINDS = [
    ("", _l("not said")),
    ("pupils", _l("pupils with a leader")),
    ("volunteers", _l("volunteers")),
    ("trained staff", _l("trained staff")),
]
KEEPERS = [
    ("", _l("not said")),
    ("ours", _l("ours")),
    ("shared", _l("shared with a neighbour")),
    ("not ours", _l("not ours, but over our ground")),
    ("not known", _l("not known")),
]
STATUSES = [
    ("living", _l("living")),
    ("dead", _l("dead, still standing")),
    ("removed", _l("taken out")),
    ("unknown", _l("not known")),
]
NEW_STATUSES = [word for word in STATUSES if word[0] != "removed"]
"""What a tree can be that is put into the list; one that was taken out is none."""

# What helpers can say of a tree that is not as it was: the word, as it is kept, and the status in doubt.
HELPER_STATUSES = [
    ("not found", _l("not found")),
    ("looks dead: no leaves", _l("looks dead: no leaves")),
    ("only a stump here", _l("only a stump here")),
]
DOUBTED = {"not found": "unknown", "looks dead: no leaves": "dead", "only a stump here": "removed"}
SETTLED_STATUSES = [
    ("living", _l("it stands and lives")),
    ("dead", _l("it is dead and stands")),
    ("removed", _l("it was taken out")),
]
POSITION_SOURCES = [
    ("", _l("no position")),
    ("tap on plan", _l("tapped on the map or plan")),
    ("two tapes", _l("two tapes from known points")),
    ("baseline and offset", _l("along a wall and off it")),
    ("bearing and distance", _l("direction and distance")),
    ("paces", _l("paces")),
    ("GPS", _l("GPS")),
    ("survey", _l("surveyed")),
    ("file", _l("from a list")),
]
AREA_KINDS = [
    ("boundary", _l("edge of the whole ground")),
    ("play area", _l("play area")),
    ("lawn", _l("lawn or meadow")),
    ("woodland", _l("wood or dense planting")),
    ("car park", _l("car park")),
    ("street", _l("street or path with trees")),
    ("building edge", _l("round a building")),
    ("other", _l("something else")),
]
TARGET_KINDS = [
    ("path", _l("path")),
    ("bench", _l("bench or table")),
    ("play equipment", _l("play equipment")),
    ("building", _l("building")),
    ("road", _l("road")),
    ("other", _l("something else")),
]
USES = [
    ("", _l("not said")),
    ("most of the day", _l("people are here most of the day")),
    ("every day", _l("every day for a while")),
    ("now and then", _l("now and then")),
    ("hardly ever", _l("hardly ever")),
]
LEVELS = [
    ("walk-over", _l("walk-over by trained staff")),
    ("formal", _l("formal look at each tree")),
    ("detailed", _l("detailed, with instruments")),
]
LEAVES = [("not said", _l("not said")), ("leaf on", _l("in leaf")), ("leaf off", _l("out of leaf"))]
HAZARD_KINDS = [
    ("overhead line", _l("overhead line")),
    ("road", _l("edge of a road")),
    ("water", _l("water")),
    ("steep ground", _l("steep ground")),
    ("fence", _l("fence")),
    ("insects", _l("nest of stinging insects")),
    ("other", _l("something else")),
]
