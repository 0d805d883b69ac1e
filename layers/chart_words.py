"""Every word that a chart shows by itself, in English; pages give them translated, under the same keys."""

from layers.chart_growth import GROWTH_CHART_WORDS
from layers.map_words import MAP_WORDS
from layers.translating import N_

CHART_WORDS: dict[str, str] = {
    **{key: MAP_WORDS[key] for key in ("class_first", "class_between", "class_last", "class_only")},
    "sizes_title": N_("Trunks by their width at {height}"),
    "sizes_axis": N_("trunks"),
    "sizes_desc": N_("Bars, from thin to thick: {rows}."),
    "sizes_row": N_("{label}: {stems}"),
    "tree_title": N_("One tree over the years"),
    "tree_width": N_("width of the trunk at {height}, {unit}"),
    "tree_round": N_("distance round the trunk as measured, {unit}"),
    "tree_desc": N_(
        "Above: the width of the trunk at {height} on each measuring day; the truth is within the whiskers "
        "19 times in 20, dashed whiskers rest on assumptions. Below: the distance round the trunk as it was "
        "measured. Points: {rows}."
    ),
    "tree_row": N_("{day}: {width}, give or take {error}"),
    "at_height": N_("at {height}"),
    "whisker_measured": N_("error measured on this ground"),
    "whisker_assumed": N_("error assumed"),
    "species_title": N_("Kinds of trees"),
    "species_share": N_("share of the trees, %"),
    "species_basal_area": N_("share of the cut face of all trunks together, %"),
    "species_others": N_("{n} other kinds"),
    "species_unknown": N_("kind not known"),
    "species_desc": N_("Bars, from most to least: {rows}."),
    "species_row": N_("{name}: {share} % of the trees"),
    "nothing": N_("nothing measured yet"),
    **GROWTH_CHART_WORDS,
}
