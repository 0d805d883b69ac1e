"""Under the widths of one tree: where its peers would be, and what is to be expected."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from layers.chart_drawing import WASH
from layers.error_model import Z95
from layers.symbology import ACCENT, INK, PAPER
from layers.translating import N_

GROWTH_CHART_WORDS: dict[str, str] = {
    "peers_band": N_("where 19 in 20 trees like it here would be by their growth"),
    "to_expect": N_("to be expected, no measurement"),
    "to_expect_row": N_("To be expected on {day}: {width}, give or take {error}."),
}


def draw_paths(axes: Axes, paths: pd.DataFrame, per_unit: float, words: Mapping[str, str]) -> None:
    """Draw the bands of peers and the forecasts of stems under what was measured.

    Parameters
    ----------
    axes : Axes
        Of the widths, by decimal year.
    paths : DataFrame
        As given by :func:`layers.tree_forecasts.paths_of`, with ``year`` (decimal).
    per_unit : float
        Display units per cm.
    words : mapping
        The words of charts, translated.
    """
    for n, (_, path) in enumerate(paths.groupby("stem_id", sort=False)):
        low, high, middle, error = (
            path[name].to_numpy(dtype=float) * per_unit
            for name in ("peers_low_cm", "peers_high_cm", "expected_cm", "expected_se_cm")
        )
        year = path["year"].to_numpy(dtype=float)
        if np.isfinite(low).any():
            label = words["peers_band"] if n == 0 else None
            axes.fill_between(
                year, low, high, color=WASH, edgecolor=INK, linewidth=0.4, zorder=1, label=label
            )
        if np.isfinite(middle[-1]):
            axes.plot(year, middle, color=ACCENT, linewidth=1.2, linestyle=(0, (1, 2)), zorder=2)
            axes.errorbar(
                year[-1:],
                middle[-1:],
                yerr=Z95 * error[-1:],
                fmt="o",
                color=ACCENT,
                markerfacecolor=PAPER,
                markersize=6,
                capsize=4,
                elinewidth=1.2,
                zorder=3,
                label=words["to_expect"] if n == 0 else None,
            )


def paths_row(paths: pd.DataFrame, width: Any, words: Mapping[str, str]) -> str:
    """Return what is to be expected at the end of each path as a sentence; ``width`` writes a width [cm]."""
    ends = paths.groupby("stem_id", sort=False).tail(1)
    return " ".join(
        words["to_expect_row"]
        .replace("{day}", str(row.day))
        .replace("{width}", width(row.expected_cm))
        .replace("{error}", width(Z95 * row.expected_se_cm))
        for row in ends.itertuples()
        if np.isfinite(row.expected_cm)
    )
