"""Charts as SVG text: sizes of trunks, one tree over the years, kinds of trees.

Each has a title, a description with the numbers, and a narrow variant for phones. Text from data is drawn as
text. Numbers that a page needs in a table are in the figures; no chart holds one that is not there.
"""

from collections.abc import Mapping, Sequence
from functools import partial
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from layers.chart_drawing import HAIR, WASH, bare, plain, shortened, svg
from layers.chart_growth import draw_paths, paths_row
from layers.chart_words import CHART_WORDS
from layers.error_model import Z95
from layers.inputs import SiteTerms
from layers.symbology import ACCENT, INK, PAPER, DrawnClass, drawn_classes
from layers.units import CM_PER_IN, height_words

BAR_PX = 34
KINDS = 8
_DARK_FROM = 3  # classes from here on are dark: their hatch is paper


def height_text(terms: SiteTerms, height_m: float | None = None) -> str:
    """Return a height of measurement in the display unit, breast height by default."""
    return height_words(terms.breast_height_m if height_m is None else height_m, terms.units)


def size_class_chart(
    figure_row: Mapping[str, Any],
    terms: SiteTerms,
    words: Mapping[str, str] = CHART_WORDS,
    narrow: bool = False,
) -> str:
    """Return bars of the number of trunks in each size class.

    Parameters
    ----------
    figure_row : mapping
        A row of figures; ``size_classes`` is read, its classes need not be those of the site today.
    terms : SiteTerms
        Units and breast height.
    words : mapping
        The words of charts, translated.
    narrow : bool
        For a screen of 360 px.
    """
    counted = {float(row["from_cm"]): int(row["stems"]) for row in figure_row.get("size_classes") or []}
    classes = drawn_classes(terms, words)
    stems = [counted.get(size.from_cm, 0) for size in classes]
    title = words["sizes_title"].replace("{height}", height_text(terms))
    rows = [
        words["sizes_row"].replace("{label}", size.label).replace("{stems}", str(number))
        for size, number in zip(classes, stems, strict=True)
    ]

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        _size_bars(axes, classes, stems)
        _nothing_yet(axes, not any(stems), words)

    desc = words["sizes_desc"].replace("{rows}", ", ".join(rows))
    return svg(draw, title=title, desc=desc, height_px=40 + BAR_PX * len(classes), narrow=narrow)


def _size_bars(axes: Axes, classes: Sequence[DrawnClass], stems: Sequence[int]) -> None:
    for i, (size, number) in enumerate(zip(classes, stems, strict=True)):
        dark = i >= len(classes) * _DARK_FROM / 6
        place = len(classes) - 1 - i
        axes.barh(
            place, number, 0.72, color=size.fill, edgecolor=PAPER if dark else INK, hatch=size.hatch, lw=0
        )
        axes.barh(place, number, 0.72, fill=False, edgecolor=INK, linewidth=0.9)
        axes.annotate(
            f"{number:,}".replace(",", "\u202f"),
            (number, place),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
        )
    axes.set_yticks(range(len(classes)), [plain(size.label) for size in reversed(classes)])
    _bars_from_zero(axes, max([*stems, 1]))


def _bars_from_zero(axes: Axes, most: float) -> None:
    axes.set_xlim(0, most * 1.14)
    axes.set_ylim(-0.6, len(axes.get_yticks()) - 0.4)
    axes.set_xticks([])
    axes.spines["bottom"].set_visible(False)
    axes.axvline(0, color=INK, linewidth=0.9)
    bare(axes)


def _nothing_yet(axes: Axes, empty: bool, words: Mapping[str, str]) -> None:
    if empty:
        axes.text(0.5, 0.5, words["nothing"], transform=axes.transAxes, ha="center", va="center")


def tree_chart(
    readings: pd.DataFrame,
    terms: SiteTerms,
    words: Mapping[str, str] = CHART_WORDS,
    narrow: bool = False,
    paths: pd.DataFrame | None = None,
) -> str:
    """Return one tree over the years: standard diameter with its error above, girth as measured below.

    Parameters
    ----------
    readings : DataFrame
        Live readings of one tree. ``measured_on`` (ISO day; rows without one are left out), ``stem_number``
        (optional), ``as_measured_cm`` (diameter at the height of measurement), ``height_m`` (of measurement;
        may be empty), ``dbh_cm``, ``dbh_se_cm``, ``reach`` (of the 95 % interval, in standard errors;
        optional), ``assumed``
        (the error rests on an assumption).
    terms : SiteTerms
        Units and breast height.
    words : mapping
        The words of charts, translated.
    narrow : bool
        For a screen of 360 px.
    paths : DataFrame, optional
        How peers would have grown and what is to be expected: :func:`layers.tree_forecasts.paths_of`.

    Notes
    -----
    Whiskers are 95 % intervals. The scale of widths does not begin at 0, but spans at least 4 cm, so that a
    small change that may be measuring error does not look large.
    """
    rows = _dated(readings)
    rows["error_cm"] = rows.get("reach", Z95) * rows["dbh_se_cm"]
    height = height_text(terms)
    ahead = pd.DataFrame(columns=["day", "stem_id"]) if paths is None else paths
    ahead = ahead.assign(year=[_year(day) for day in ahead["day"]])

    def draw(figure: Figure) -> None:
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
        draw_paths(above, ahead, float(_shown(pd.Series([1.0]), terms)[0]), words)
        _widths(above, rows, terms)
        _girths(below, rows, terms, words)
        for axes, key in ((above, "tree_width"), (below, "tree_round")):
            text = words[key].replace("{height}", height).replace("{unit}", _unit(terms))
            axes.set_title(text, loc="left", fontsize=12)
            axes.grid(axis="y", color=HAIR, linewidth=0.7)
            axes.set_axisbelow(True)
            _nothing_yet(axes, rows.empty, words)
        _years(below, rows, ahead)
        _whisker_key(above, rows, words)
        _legend_above(figure, above, 40 if narrow else 80)

    said = ", ".join(_tree_row(row, terms, words) for row in rows.to_dict("records"))
    desc = words["tree_desc"].replace("{height}", height).replace("{rows}", said or words["nothing"])
    desc = f"{desc} {paths_row(ahead, partial(_width_text, terms), words)}".rstrip()
    return svg(draw, title=words["tree_title"], desc=desc, height_px=430, narrow=narrow)


def _unit(terms: SiteTerms) -> str:
    return "in" if terms.units == "us" else "cm"


def _shown(values: pd.Series, terms: SiteTerms) -> np.ndarray:
    return np.asarray(values, dtype=float) / (CM_PER_IN if terms.units == "us" else 1.0)


def _dated(readings: pd.DataFrame) -> pd.DataFrame:
    rows = readings[readings["measured_on"].notna()].copy()
    if "stem_number" not in rows:
        rows["stem_number"] = 1
    rows["year"] = [_year(day) for day in rows["measured_on"]]
    return rows.sort_values(["stem_number", "year"], kind="stable").reset_index(drop=True)


def _year(day: str) -> float:
    """A day as a decimal year, for the axis only."""
    stamp = pd.Timestamp(day)
    return float(stamp.year + (stamp.day_of_year - 1) / 366)


def _tree_row(row: Mapping[Any, Any], terms: SiteTerms, words: Mapping[str, str]) -> str:
    width = partial(_width_text, terms)
    text = words["tree_row"].replace("{day}", str(row["measured_on"]))
    return text.replace("{width}", width(row["dbh_cm"])).replace("{error}", width(row["error_cm"]))


def _width_text(terms: SiteTerms, value_cm: float) -> str:
    per, unit = (CM_PER_IN, "in") if terms.units == "us" else (1.0, "cm")
    return f"{value_cm / per:.1f} {unit}" if np.isfinite(value_cm) else "–"


_MARKERS = ("o", "s", "D", "^", "v", "P")


def _widths(axes: Axes, rows: pd.DataFrame, terms: SiteTerms) -> None:
    for number, (_, stem) in enumerate(rows.groupby("stem_number", sort=True)):
        marker = _MARKERS[number % len(_MARKERS)]
        sized = stem[stem["dbh_cm"].notna()]
        axes.plot(sized["year"], _shown(sized["dbh_cm"], terms), color=INK, linewidth=0.8, zorder=2)
        for assumed, part in sized.groupby(sized["assumed"].astype(bool)):
            drawn = axes.errorbar(
                part["year"],
                _shown(part["dbh_cm"], terms),
                yerr=_shown(part["error_cm"].fillna(0.0), terms),
                fmt=marker,
                color=INK,
                markerfacecolor=ACCENT,
                markersize=6,
                capsize=4,
                elinewidth=1.2,
                zorder=3,
            )
            for line in drawn.lines[2]:
                line.set_linestyle((0, (3, 2)) if assumed else "solid")
    _wide_enough(axes, 4.0 / (CM_PER_IN if terms.units == "us" else 1.0))


def _wide_enough(axes: Axes, least: float) -> None:
    low, high = axes.get_ylim()
    if high - low < least:
        middle = (low + high) / 2
        axes.set_ylim(middle - least / 2, middle + least / 2)


def _girths(axes: Axes, rows: pd.DataFrame, terms: SiteTerms, words: Mapping[str, str]) -> None:
    per = CM_PER_IN if terms.units == "us" else 1.0
    measured = rows[rows["as_measured_cm"].notna()]
    girths = np.pi * measured["as_measured_cm"].to_numpy(dtype=float) / per
    axes.plot(measured["year"], girths, "o", color=INK, markerfacecolor=PAPER, markersize=6)
    few = len(measured) <= 8
    for year, girth, height in zip(measured["year"], girths, measured["height_m"], strict=True):
        known = height is not None and height == height
        if few and not (known and abs(height - terms.breast_height_m) <= 0.02):
            said = words["at_height"].replace("{height}", height_text(terms, height)) if known else "?"
            axes.annotate(
                said, (year, girth), xytext=(0, 7), textcoords="offset points", ha="center", fontsize=9.5
            )
    _wide_enough(axes, 12.0 / per)
    axes.margins(y=0.25)


def _years(axes: Axes, rows: pd.DataFrame, ahead: pd.DataFrame) -> None:
    """Whole years under a long row of readings; the days themselves under a short one."""
    if rows.empty:
        axes.set_xticks([])
        return
    first, last = float(rows["year"].min()), max([*rows["year"], *ahead["year"]])
    if last - first < 1.5:
        days = rows.drop_duplicates("measured_on").sort_values("year")
        days = days.iloc[np.unique(np.linspace(0, len(days) - 1, min(len(days), 3)).astype(int))]
        axes.set_xticks(days["year"], [str(day) for day in days["measured_on"]])
        axes.set_xlim(first - 0.3, last + 0.3)
        return
    step = max(1, int(np.ceil((last - first) / 7)))
    ticks = np.arange(np.floor(first), np.ceil(last) + 1, step)
    axes.set_xticks(ticks, [f"{tick:.0f}" for tick in ticks])
    room = 0.05 * (last - first)
    axes.set_xlim(first - room, last + room)


def _whisker_key(axes: Axes, rows: pd.DataFrame, words: Mapping[str, str]) -> None:
    kinds = sorted({bool(assumed) for assumed in rows["assumed"]}) if len(rows) else []
    for assumed in kinds:
        key = "whisker_assumed" if assumed else "whisker_measured"
        axes.plot(
            [], [], color=INK, linewidth=1.2, linestyle=(0, (3, 2)) if assumed else "solid", label=words[key]
        )


def species_chart(
    figure_row: Mapping[str, Any],
    terms: SiteTerms,
    words: Mapping[str, str] = CHART_WORDS,
    narrow: bool = False,
    names: Mapping[str, str] | None = None,
) -> str:
    """Return the kinds of trees: bars of their share of the trees, a mark for their share of the cut face.

    Parameters
    ----------
    figure_row : mapping
        A row of figures; ``species`` is read.
    terms : SiteTerms
        Not used yet; every chart is called alike.
    words : mapping
        The words of charts, translated.
    narrow : bool
        For a screen of 360 px.
    names : mapping, optional
        {scientific name: name to show}.
    """
    del terms
    kinds = _first_kinds(list(figure_row.get("species") or []), words, names or {})

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        _species_bars(axes, kinds, words, 20 if narrow else 34)
        _legend_above(figure, axes, 40 if narrow else 80)
        _nothing_yet(axes, not kinds, words)

    said = [
        words["species_row"].replace("{name}", name).replace("{share}", f"{100 * share:.1f}")
        for name, share, _ in kinds
    ]
    desc = words["species_desc"].replace("{rows}", ", ".join(said) or words["nothing"])
    height = 76 + 28 * max(len(kinds), 2)
    return svg(draw, title=words["species_title"], desc=desc, height_px=height, narrow=narrow)


def _first_kinds(
    species: list[Mapping[str, Any]], words: Mapping[str, str], names: Mapping[str, str]
) -> list[tuple[str, float, float | None]]:
    """(name, share of trees, share of basal area) of the most frequent kinds, the rest as one."""
    ordered = sorted(species, key=lambda row: -int(row["trees"]))
    first, rest = ordered[:KINDS], ordered[KINDS:]
    if len(rest) == 1:
        first, rest = ordered, []
    kinds = [
        (
            _kind_name(row["scientific_name"], words, names),
            _share(row["share"]) or 0.0,
            _share(row["share_basal_area"]),
        )
        for row in first
    ]
    if rest:
        areas = [share for row in rest if (share := _share(row["share_basal_area"])) is not None]
        others = words["species_others"].replace("{n}", str(len(rest)))
        kinds.append(
            (others, sum(_share(row["share"]) or 0.0 for row in rest), sum(areas) if areas else None)
        )
    return kinds


def _kind_name(name: str | None, words: Mapping[str, str], names: Mapping[str, str]) -> str:
    return words["species_unknown"] if not name else names.get(name, name)


def _share(value: Any) -> float | None:
    return None if value is None or value != value else float(value)


def _species_bars(
    axes: Axes, kinds: list[tuple[str, float, float | None]], words: Mapping[str, str], most_letters: int
) -> None:
    places = np.arange(len(kinds))[::-1]
    shares = [100 * share for _, share, _ in kinds]
    axes.barh(places, shares, 0.62, color=WASH, edgecolor=INK, linewidth=0.9, label=words["species_share"])
    marked = [
        (place, 100 * area) for place, (_, _, area) in zip(places, kinds, strict=True) if area is not None
    ]
    if marked:
        axes.plot(
            [area for _, area in marked],
            [place for place, _ in marked],
            "D",
            color=INK,
            markerfacecolor=ACCENT,
            markersize=6,
            label=words["species_basal_area"],
        )
    axes.set_yticks(places, [shortened(name, most_letters) for name, _, _ in kinds])
    most = max([*shares, *(area for _, area in marked), 1.0])
    areas = dict(marked)
    for place, share in zip(places, shares, strict=True):
        area = areas.get(place, 0.0)
        hidden = share <= area < share + 0.1 * most  # the mark stands where the number would
        end = area if hidden else share
        axes.annotate(f"{share:.0f}", (end, place), xytext=(8, 0), textcoords="offset points", va="center")
    _bars_from_zero(axes, most)


def _legend_above(figure: Figure, axes: Axes, most_letters: int) -> None:
    handles, texts = axes.get_legend_handles_labels()
    if not handles:
        return
    wrapped = ["\n".join(wrap(text, most_letters)) for text in texts]
    figure.legend(handles[::-1], wrapped[::-1], loc="outside upper left", fontsize=10.5, borderaxespad=0.2)
