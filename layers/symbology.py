"""How trees and areas look on a map and in a chart: size classes, signs, shading.

A size class is carried three times, by colour, by size and by its label, so that it survives grey print and
eyes that do not tell colours apart. Nothing here reads as good or bad: no green, no traffic lights.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.colors import LinearSegmentedColormap, to_hex
from numpy.typing import ArrayLike, NDArray

from layers import size_classes
from layers.inputs import SiteTerms
from layers.units import CM_PER_IN

INK = "#1d2a3a"
PAPER = "#fbfaf6"
ACCENT = "#1a5fa0"

# From small to large: light straw to a violet that is nearly ink. Own values, chosen so that lightness falls
# evenly; the unit test measures the distances, also as three kinds of colour blindness see them.
RAMP = ("#f9e7a6", "#f2b26a", "#e07a5f", "#b8436f", "#74297a", "#241a45")
HATCHES = ("", "--", "//", "xx", "\\\\", "||")
SHADES = ("#f1eee5", "#d8d9d6", "#bcc3c9", "#9cabb8", "#7b90a3")

SMALLEST_PX, LARGEST_PX = 3.5, 10.5
CLASS_WORDS = {
    "class_first": "under {to} {unit}",
    "class_between": "{from} to under {to} {unit}",
    "class_last": "{from} {unit} and more",
    "class_only": "any size",
}

# What is drawn how; the words are those of the map's legend.
SIGNS: dict[str, dict[str, Any]] = {
    "unmeasured": {"shape": "circle", "fill": None, "stroke": INK, "radius_px": 4.0},
    "dead": {"shape": "cross", "fill": None, "stroke": INK, "radius_px": 5.0},
    "place": {"shape": "square", "fill": PAPER, "stroke": INK, "radius_px": 4.0},
    "look": {"shape": "ring", "fill": None, "stroke": ACCENT, "radius_px": 4.0},
    "target": {"shape": "line", "fill": ACCENT, "stroke": ACCENT, "radius_px": 4.0},
    "hazard": {"shape": "dashes", "fill": INK, "stroke": INK, "radius_px": 4.0},
    "closure": {"shape": "hatch", "fill": None, "stroke": INK, "radius_px": 4.0},
}


@dataclass(frozen=True)
class DrawnClass:
    """A half-open class [from_cm, to_cm) of standard diameters [cm] and how it looks."""

    from_cm: float
    to_cm: float | None
    label: str
    fill: str
    radius_px: float
    hatch: str


@dataclass(frozen=True)
class Shading:
    """Steps of a shaded quantity: ``breaks`` between the steps, one fill more than breaks."""

    breaks: tuple[float, ...]
    fills: tuple[str, ...]


def ramp(steps: int) -> list[str]:
    """Return ``steps`` colours from small to large, evenly along the ramp."""
    if steps == len(RAMP):
        return list(RAMP)
    colours = LinearSegmentedColormap.from_list("sizes", RAMP)
    return [to_hex(colours(place)) for place in np.linspace(0, 1, max(steps, 2))][:steps]


def size_label(
    from_cm: float, to_cm: float | None, terms: SiteTerms, words: Mapping[str, str] = CLASS_WORDS
) -> str:
    """Return the words for a size class in the site's display unit, whole numbers without a point."""
    per, unit = (CM_PER_IN, "in") if terms.units == "us" else (1.0, "cm")

    def shown(value_cm: float) -> str:
        return f"{round(value_cm / per, 2):g}"

    if to_cm is None:
        key = "class_last" if from_cm > 0 else "class_only"
    else:
        key = "class_between" if from_cm > 0 else "class_first"
    text = words[key].replace("{unit}", unit).replace("{from}", shown(from_cm))
    return text if to_cm is None else text.replace("{to}", shown(to_cm))


def drawn_classes(terms: SiteTerms, words: Mapping[str, str] = CLASS_WORDS) -> list[DrawnClass]:
    """Return the size classes of a site in order, with colour, size on the map [px], hatch and label."""
    bounds = size_classes.bounds(terms.breaks_cm)
    radii = np.linspace(SMALLEST_PX, LARGEST_PX, len(bounds))
    return [
        DrawnClass(
            from_cm=low,
            to_cm=high,
            label=size_label(low, high, terms, words),
            fill=fill,
            radius_px=round(float(radius), 1),
            hatch=HATCHES[i % len(HATCHES)],
        )
        for i, ((low, high), fill, radius) in enumerate(zip(bounds, ramp(len(bounds)), radii, strict=True))
    ]


def shading(values: ArrayLike) -> Shading:
    """Return at most five steps with round breaks over the values; NaN is left out.

    Without a value, or with all values 0, there is one step and no break.
    """
    numbers = np.asarray(values, dtype=float)
    top = float(np.nanmax(numbers, initial=0.0))
    if top <= 0:
        return Shading((), (SHADES[0],))
    step = _round_step(top / len(SHADES))
    breaks = tuple(float(f"{step * i:.6g}") for i in range(1, len(SHADES)) if step * i < top)
    return Shading(breaks, SHADES[: len(breaks) + 1])


def shade_index(values: ArrayLike, steps: Shading) -> NDArray[np.int64]:
    """Return the step of each value, -1 where there is none."""
    return size_classes.class_of(values, steps.breaks)


def _round_step(least: float) -> float:
    """The smallest of 1, 2, 2.5, 5 times a power of ten that is not below ``least``."""
    power = 10.0 ** np.floor(np.log10(least))
    return float(next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= least * (1 - 1e-9)))
