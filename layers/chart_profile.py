"""The thinning of trunks toward breast height: the published profile, the site's own, the pairs measured."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from layers import taper
from layers.chart_drawing import HAIR, SOFT, svg
from layers.error_model import Z95, Array
from layers.inputs import SiteTerms
from layers.symbology import ACCENT, INK, PAPER
from layers.translating import N_
from layers.units import M_PER_FT, height_words

PROFILE_WORDS: dict[str, str] = {
    "profile_title": N_("How trunks thin: {set}"),
    "profile_width": N_("width as a share of that at {height}, %"),
    "profile_height_m": N_("height above ground, m"),
    "profile_height_ft": N_("height above ground, ft"),
    "profile_published": N_("published"),
    "profile_site": N_("learned here, with its band"),
    "profile_pair": N_("a trunk measured at two heights"),
    "profile_left_out": N_("left out, too far off"),
    "profile_desc": N_(
        "Width against height. At {low} the published profile is {published} % of the width at {height}, the "
        "one learned here {site} %; {pairs} trunks were measured at two heights."
    ),
}
LOWEST_SHOWN_M = 0.3
_SEEN_PERCENT = (70.0, 160.0)


def profile_chart(
    pairs: pd.DataFrame,
    one: Mapping[str, Any],
    terms: SiteTerms,
    words: Mapping[str, str] = PROFILE_WORDS,
    narrow: bool = False,
) -> str:
    """Return the profile of a set of species with its pairs as one SVG element.

    Parameters
    ----------
    pairs : DataFrame
        Pairs of the set, columns of ``layers.pairs``; each is drawn at its lower height, brought to breast
        height by the site's own profile where its upper height is another.
    one : mapping
        Row of the set: ``taper_set``, ``published_b``, ``published_se``, ``site_b``, ``site_se``.
    terms : SiteTerms
        Units and breast height.
    words : mapping
        The words of the chart, translated.
    narrow : bool
        For a screen of 360 px.

    Notes
    -----
    The band is the 95 % interval of the coefficient learned.
    """
    height = terms.breast_height_m

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        _curves(axes, one, terms, words)
        _points(axes, pairs, float(one["site_b"]), terms, words)
        axes.set_xlabel(words["profile_width"].replace("{height}", height_words(height, terms.units)))
        axes.set_ylabel(words["profile_height_ft" if terms.units == "us" else "profile_height_m"])
        axes.grid(color=HAIR, linewidth=0.7)
        axes.set_axisbelow(True)
        handles, texts = axes.get_legend_handles_labels()
        figure.legend(
            handles,
            texts,
            loc="outside upper left",
            ncols=1 if narrow else 2,
            fontsize=10.5,
            borderaxespad=0.2,
        )

    low = taper.ratio(LOWEST_SHOWN_M, height, [float(one["published_b"]), float(one["site_b"])])
    said = {
        "{low}": height_words(LOWEST_SHOWN_M, terms.units),
        "{height}": height_words(height, terms.units),
        "{published}": f"{100 * low[0]:.0f}",
        "{site}": f"{100 * low[1]:.0f}",
        "{pairs}": str(len(pairs)),
    }
    desc = words["profile_desc"]
    for mark, text in said.items():
        desc = desc.replace(mark, text)
    title = words["profile_title"].replace("{set}", str(one["taper_set"]))
    return svg(draw, title=title, desc=desc, height_px=340, narrow=narrow)


def _shown(height_m: Array, terms: SiteTerms) -> Array:
    return np.asarray(height_m / (M_PER_FT if terms.units == "us" else 1.0))


def _curves(axes: Axes, one: Mapping[str, Any], terms: SiteTerms, words: Mapping[str, str]) -> None:
    height = np.linspace(LOWEST_SHOWN_M, taper.HIGHEST_M, 60)
    at = _shown(height, terms)

    def percent(b: float) -> Array:
        return np.asarray(100.0 * taper.ratio(height, terms.breast_height_m, b))

    site, half = float(one["site_b"]), Z95 * float(one["site_se"])
    axes.fill_betweenx(at, percent(site - half), percent(site + half), color=HAIR, alpha=0.6, linewidth=0)
    axes.plot(percent(site), at, color=INK, linewidth=1.6, label=words["profile_site"])
    axes.plot(
        percent(float(one["published_b"])),
        at,
        color=SOFT,
        linewidth=1.2,
        linestyle=(0, (4, 3)),
        label=words["profile_published"],
    )
    axes.axhline(float(_shown(np.array([terms.breast_height_m]), terms)[0]), color=SOFT, linewidth=0.6)


def _points(
    axes: Axes, pairs: pd.DataFrame, site_b: float, terms: SiteTerms, words: Mapping[str, str]
) -> None:
    low, high = (pairs[name].to_numpy(dtype=float) for name in ("low_m", "high_m"))
    seen = pairs["ratio_seen"].to_numpy(dtype=float)
    percent = np.clip(100.0 * seen * taper.ratio(high, terms.breast_height_m, site_b), *_SEEN_PERCENT)
    left_out = pairs["left_out"].to_numpy(dtype=bool)
    for rows, fill, mark, word in (
        (~left_out, ACCENT, "o", "profile_pair"),
        (left_out, PAPER, "X", "profile_left_out"),
    ):
        if rows.any():
            axes.plot(
                percent[rows],
                _shown(low[rows], terms),
                mark,
                color=INK,
                markerfacecolor=fill,
                markersize=6,
                label=words[word],
            )
