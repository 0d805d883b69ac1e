"""The look of charts and their way to SVG: matplotlib without its global figure, the same each time."""

import io
import re
import warnings
from collections.abc import Callable
from threading import Lock
from xml.sax.saxutils import escape

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from layers.symbology import INK

PX_PER_INCH = 72.0  # of matplotlib's SVG: one unit of the picture is one pixel
WIDE_PX, NARROW_PX = 680, 360
SOFT = "#525d68"
HAIR = "#d3cdbd"
WASH = "#e9e5d9"

_LOOK = {
    "svg.fonttype": "none",  # text stays text: it can be read aloud, found and set in the reader's font
    "svg.hashsalt": "boleward",
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans", "Segoe UI", "Helvetica Neue", "Arial"],
    "font.size": 12.0,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.7,
    "hatch.color": INK,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "legend.frameon": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
}
_NO_DATE = {"Date": None, "Creator": None, "Format": None, "Type": None}
# rcParams and warnings belong to the whole process, and pages are made by several threads at once.
_drawing = Lock()

_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def plain(text: str) -> str:
    """Return the text without characters that have no place in XML."""
    return _NOT_XML.sub("\ufffd", text)


def shortened(text: str, most: int) -> str:
    """Return at most ``most`` characters of a text, cut with an ellipsis."""
    text = plain(text)
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def svg(
    draw: Callable[[Figure], None], *, title: str, desc: str, height_px: float, narrow: bool = False
) -> str:
    """Return what ``draw`` puts on a figure as one SVG element.

    Parameters
    ----------
    draw : callable
        Draws on a figure of the chosen size; sizes of text and lines are in pixels.
    title, desc : str
        What a screen reader says of the chart.
    height_px : float
        Height [px]; the width is 680 px, or 360 px when ``narrow``.
    """
    width_px = NARROW_PX if narrow else WIDE_PX
    with _drawing, mpl.rc_context(_LOOK), warnings.catch_warnings():
        # Names may hold letters that the measuring font lacks; the reader's fonts have them.
        warnings.filterwarnings("ignore", message=r"(?s).*Glyph", category=UserWarning)
        figure = Figure(figsize=(width_px / PX_PER_INCH, height_px / PX_PER_INCH), layout="constrained")
        draw(figure)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata=_NO_DATE)
    return _element(out.getvalue(), title, desc)


def bare(axes: Axes) -> None:
    """Take frame and ticks from the left, leaving a base line of ink."""
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _element(text: str, title: str, desc: str) -> str:
    """The bare ``<svg>`` with title and description, without what a strict page would refuse."""
    body = text[text.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r"<style[^>]*>.*?</style>", "", body, flags=re.DOTALL)
    head, rest = body.split(">", 1)
    head = re.sub(r'(width|height)="([\d.]+)pt"', r'\1="\2"', head)
    told = f"<title>{escape(plain(title))}</title><desc>{escape(plain(desc))}</desc>"
    return f'{head} role="img" stroke-linejoin="round" stroke-linecap="butt">{told}{rest}'
