"""Columns of the frames between history and figures (definitions N5)."""

from layers.column_kinds import word

# The three frames between history and figures (definitions N5).
STEM_STATE = (
    word("stem_id", "text", "the stem"),
    word("tree_id", "text", "its tree"),
    word("tree_status", "text", "living, dead, removed or unknown on that day"),
    word("in_doubt", "flag", "somebody thought the tree dead or gone; not settled, so it counts as living"),
    word("status", "text", "living, dead, removed or unknown on that day"),
    word("dbh_cm", "float", "standard diameter at the site's breast height; empty without a size", "cm", 0),
    word("own_var_cm2", "float", "variance that this stem shares with no other", "cm2", 0),
    word("departure_var_cm2", "float", "of that, the stem's departure from the profile of trunks", "cm2", 0),
    word("as_measured_cm", "float", "diameter at the height where it was measured", "cm", 0),
    word("height_m", "float", "height of that measurement; empty when not said", "m"),
    word("reading", "text", "the reading it rests on (the first of several)"),
    word("measured_on", "date", "day of that reading"),
    word("undated", "flag", "the reading has no date"),
    word("assumed", "flag", "its error rests on an assumption, not on a model adopted on the site"),
    word("dbh_source", "text", "how the number came about, in words"),
    word("class_from_cm", "float", "lower bound of a diameter class, where only a class was said", "cm", 0),
    word("class_to_cm", "float", "upper bound of that class", "cm", 0),
)
STEM_PARTS = (
    word("stem_id", "text", "the stem"),
    word("cause", "text", "key of the shared cause, as in the frame of causes"),
    word("sensitivity_cm", "float", "signed change of the diameter per unit of the cause", "cm"),
)
CAUSES = (
    word("cause", "text", "key of the cause, for example instrument:<site>:girth tape"),
    word("kind", "text", "taper, instrument, crew, calibration, height or area"),
    word("key", "text", "the part of the key after the kind"),
    word("variance", "float", "variance of the cause in its own unit"),
    word("source", "text", 'where the variance is from, or "assumption"'),
)
MEMBERSHIP = (
    word("area_id", "text", "the area or place"),
    word("tree_id", "text", "a tree inside it"),
    word("near_edge", "flag", "closer to the edge than its position is known"),
)
