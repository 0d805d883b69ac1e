"""Pictures of what measuring days taught: guesses, hands, teams side by side, how the trees grew as a group.

Teams are told apart by the shape of their dots, so that grey print tells them apart too.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from layers.chart_drawing import HAIR, SOFT, plain, shortened, svg
from layers.class_learning import Middle
from layers.error_model import Array
from layers.growth_of_trees import GrowingGroup
from layers.inputs import SiteTerms
from layers.symbology import ACCENT, INK, PAPER
from layers.translating import N_
from layers.units import CM_PER_IN

LEARNING_CHART_WORDS: dict[str, str] = {
    "guesses_title": N_("Guesses and what was measured"),
    "guesses_desc": N_(
        "Each dot is a guess, the line is what was measured. {count} guesses, of trunks from {thin} to "
        "{thick} {unit} round."
    ),
    "guesses_x": N_("the trunks, from thin to thick"),
    "round": N_("round the trunk, {unit}"),
    "measured": N_("what was measured"),
    "guess_of": N_("guess: {team}"),
    "hands_title": N_("Hands and tape"),
    "hands_desc": N_(
        "Each dot is a trunk: how far it is round by hands, against what a tape says. {count} trunks. On the "
        "line both say the same."
    ),
    "hands_x": N_("by tape, {unit} round the trunk"),
    "hands_y": N_("by hands, {unit}"),
    "hands_same": N_("both say the same"),
    "apart_title": N_("How far two teams are apart"),
    "apart_desc": N_(
        "Each dot is a trunk that two teams measured. {count} dots; half of them lie within {middle} {unit}."
    ),
    "apart_few": N_("Each dot is a trunk that two teams measured. {count} dots."),
    "apart_x": N_("apart by so many {unit}"),
    "apart_more": N_("{most} or more"),
    "apart_half": N_("half of the dots lie left of this line"),
    "grown_title": N_("How the trunks grew as a group"),
    "grown_desc": N_("Growth round the trunk in {unit} a year, with give or take. {rows}."),
    "grown_row": N_("{name}: {value}, from {low} to {high}"),
    "grown_x": N_("more round the trunk, {unit} a year"),
    "no_change": N_("no change"),
    "cm": N_("cm"),
    "in": N_("in"),
}
_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h")
_STEP_CM, _STEP_IN, _MOST_STEPS = 1.0, 0.5, 16


def unit_of(terms: SiteTerms, words: Mapping[str, str]) -> tuple[float, str]:
    """Return centimetres of the display unit and its word."""
    return (CM_PER_IN, words["in"]) if terms.units == "us" else (1.0, words["cm"])


def _filled(text: str, **said: object) -> str:
    for name, value in said.items():
        text = text.replace("{" + name + "}", str(value))
    return text


def guesses_chart(
    rows: pd.DataFrame,
    terms: SiteTerms,
    words: Mapping[str, str] = LEARNING_CHART_WORDS,
    narrow: bool = False,
    own: str | None = None,
) -> str:
    """Return guesses as dots over what was measured, trunks from thin to thick.

    Parameters
    ----------
    rows : DataFrame
        ``guess_cm``, ``read_cm`` [cm] in the order of ``read_cm``, ``team`` (as it is to be called).
    terms : SiteTerms
        Units.
    words : mapping
        The words of charts, translated.
    narrow : bool
        For a screen of 360 px.
    own : str, optional
        The team that the picture is for.

    Notes
    -----
    What is far above nearly all others, by a mistake as a rule, is drawn at the upper edge.
    """
    per, unit = unit_of(terms, words)
    place = np.arange(1.0, len(rows) + 1.0)
    read, guess = (rows[name].to_numpy(dtype=float) / per for name in ("read_cm", "guess_cm"))
    top = _top(np.concatenate([read, guess]))

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        axes.plot(place, np.minimum(read, top), color=INK, linewidth=2.0, label=words["measured"], zorder=5)
        _by_team(axes, place, np.minimum(guess, top), rows["team"], words["guess_of"], own)
        axes.set_xlabel(words["guesses_x"])
        axes.set_ylabel(_filled(words["round"], unit=unit))
        axes.set_xticks([])
        axes.set_ylim(0, 1.03 * top)
        _finish(figure, axes, "y", narrow)

    thin, thick = (f"{end:.0f}" for end in (read[0], read[-1]))
    desc = _filled(words["guesses_desc"], count=len(rows), thin=thin, thick=thick, unit=unit)
    return svg(draw, title=words["guesses_title"], desc=desc, height_px=400, narrow=narrow)


def _top(values: Array) -> float:
    """The end of a scale for nearly all values: the largest, or half above where 98 in 100 end."""
    return float(min(values.max(), 1.5 * np.quantile(values, 0.98)))


def _by_team(
    axes: Axes, x: Array, y: Array, team: Sequence[str] | pd.Series, label: str, own: str | None
) -> None:
    """Dots, one shape a team; one's own are filled and lie above the others."""
    names = np.asarray(team, dtype=object)
    for number, name in enumerate(dict.fromkeys(sorted(names.tolist()))):
        mine = names == name
        is_own = own is not None and name == own
        axes.plot(
            x[mine],
            y[mine],
            "o" if is_own else _MARKERS[number % len(_MARKERS)],
            color=INK if is_own else ACCENT if own is None else SOFT,
            markerfacecolor=ACCENT if is_own else PAPER,
            markersize=6.5 if is_own else 4.5,
            markeredgewidth=1.0,
            linestyle="none",
            zorder=4 if is_own else 3,
            label=_filled(label, team=shortened(str(name), 24)),
        )


def _finish(figure: Figure, axes: Axes, grid: str, narrow: bool) -> None:
    axes.grid(axis=grid, color=HAIR, linewidth=0.7)  # type: ignore[arg-type]
    axes.set_axisbelow(True)
    handles, labels = axes.get_legend_handles_labels()
    columns = 1 if narrow else 2 if len(labels) <= 4 else 3
    figure.legend(handles, labels, loc="outside upper left", ncols=columns, fontsize=10.5, borderaxespad=0.2)


def hands_chart(
    rows: pd.DataFrame,
    terms: SiteTerms,
    words: Mapping[str, str] = LEARNING_CHART_WORDS,
    narrow: bool = False,
    own: str | None = None,
) -> str:
    """Return hands against tape, a dot a trunk.

    Parameters
    ----------
    rows : DataFrame
        ``hand_cm``, ``tape_cm`` [cm], ``team`` (as it is to be called).
    terms, words, narrow, own
        As for :func:`guesses_chart`.
    """
    per, unit = unit_of(terms, words)
    hand, tape = (rows[name].to_numpy(dtype=float) / per for name in ("hand_cm", "tape_cm"))
    most = 1.06 * max(hand.max(), tape.max())

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        axes.plot([0, most], [0, most], color=INK, linewidth=1.2, label=words["hands_same"], zorder=2)
        _by_team(axes, tape, hand, rows["team"], "{team}", own)
        axes.set_xlabel(_filled(words["hands_x"], unit=unit))
        axes.set_ylabel(_filled(words["hands_y"], unit=unit))
        axes.set_xlim(0, most)
        axes.set_ylim(0, most)
        _finish(figure, axes, "both", narrow)

    desc = _filled(words["hands_desc"], count=len(rows))
    return svg(draw, title=words["hands_title"], desc=desc, height_px=400, narrow=narrow)


def apart_chart(
    apart_cm: Array,
    middle: Middle | None,
    terms: SiteTerms,
    words: Mapping[str, str] = LEARNING_CHART_WORDS,
    narrow: bool = False,
) -> str:
    """Return how far pairs of teams are apart: dots piled up by whole steps of 1 cm or half an inch.

    Parameters
    ----------
    apart_cm : array
        Of each pair [cm of girth].
    middle : Middle, optional
        Of these.
    terms, words, narrow
        As for :func:`guesses_chart`.

    Notes
    -----
    What is 16 steps or more apart is piled on the last step.
    """
    per, unit = unit_of(terms, words)
    step = _STEP_IN if terms.units == "us" else _STEP_CM
    steps = np.minimum(np.floor(np.asarray(apart_cm, dtype=float) / per / step + 1e-9), _MOST_STEPS)
    order = np.sort(steps)
    height = np.arange(len(order)) - np.searchsorted(order, order)
    most = f"{_MOST_STEPS * step:g}"

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        axes.plot((order + 0.5) * step, height + 0.5, "o", color=INK, markerfacecolor=ACCENT, markersize=8)
        if middle is not None:
            axes.axvline(middle.middle / per, color=INK, linewidth=1.4, label=words["apart_half"])
            _finish(figure, axes, "x", narrow)
        axes.set_xlabel(_filled(words["apart_x"], unit=unit))
        axes.set_xlim(0, (_MOST_STEPS + 1) * step)
        ticks = np.arange(0, _MOST_STEPS + 1, 4) * step
        last = _filled(words["apart_more"], most=most)
        axes.set_xticks(ticks, [*(f"{tick:g}" for tick in ticks[:-1]), last])
        axes.set_ylim(0, max(6.0, float(height.max()) + 1.2))
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)

    desc = _filled(words["apart_few"], count=len(order))
    if middle is not None:
        said = f"{middle.middle / per:.1f}"
        desc = _filled(words["apart_desc"], count=len(order), middle=said, unit=unit)
    return svg(draw, title=words["apart_title"], desc=desc, height_px=300, narrow=narrow)


def grown_chart(
    groups: Sequence[GrowingGroup],
    terms: SiteTerms,
    words: Mapping[str, str] = LEARNING_CHART_WORDS,
    narrow: bool = False,
) -> str:
    """Return the growth of groups round the trunk with its 95 % interval, the first group at the top.

    Parameters
    ----------
    groups : sequence of GrowingGroup
        Growth of widths [cm/yr]; named as they are to be called.
    terms, words, narrow
        As for :func:`guesses_chart`.
    """
    per, unit = unit_of(terms, words)
    value, low, high = (
        np.pi * np.array([getattr(group, name) for group in groups]) / per
        for name in ("growth_cm_per_yr", "lo", "hi")
    )
    at = np.arange(len(groups))[::-1]

    def draw(figure: Figure) -> None:
        axes = figure.add_subplot()
        axes.axvline(0.0, color=INK, linewidth=1.2, label=words["no_change"])
        axes.errorbar(
            value,
            at,
            xerr=(value - low, high - value),
            fmt="o",
            color=INK,
            markerfacecolor=ACCENT,
            markersize=6.5,
            capsize=4,
            elinewidth=1.4,
        )
        axes.set_yticks(at, [shortened(plain(group.name), 16 if narrow else 28) for group in groups])
        axes.set_ylim(-0.7, len(groups) - 0.3)
        axes.set_xlabel(_filled(words["grown_x"], unit=unit))
        axes.xaxis.set_major_locator(MaxNLocator(5))
        axes.xaxis.set_major_formatter("{x:g}")
        axes.tick_params(axis="y", length=0)
        _finish(figure, axes, "x", narrow)

    rows = [
        _filled(words["grown_row"], name=g.name, value=f"{v:.1f}", low=f"{a:.1f}", high=f"{b:.1f}")
        for g, v, a, b in zip(groups, value, low, high, strict=True)
    ]
    desc = _filled(words["grown_desc"], unit=unit, rows="; ".join(rows))
    return svg(draw, title=words["grown_title"], desc=desc, height_px=110 + 30 * len(groups), narrow=narrow)
