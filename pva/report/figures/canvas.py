"""How every picture is drawn and turned into a piece of the page.

Pictures are SVG with text as text, so that they can be searched, read aloud and scaled. They carry
no date and no random names: the same numbers give the same bytes.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Callable
from html import escape

import matplotlib
from matplotlib.colors import LinearSegmentedColormap, ListedColormap
from matplotlib.figure import Figure as Sheet
from matplotlib.patches import FancyBboxPatch
from matplotlib.ticker import FuncFormatter, MaxNLocator

PAPER = "#fcfcf9"
INK, QUIET, HAIR = "#22302f", "#5d6a68", "#d5d9d3"
RIVER, STREAM, SHALLOW, MIST = "#175061", "#4f8a99", "#9cc3cb", "#d6e6e8"
CLAY, SAND, MOSS = "#a8480f", "#e2c9a8", "#6c7a35"
HATCH = ("", "////", "")
DASHES = ("-", (0, (5, 2)), (0, (1.2, 1.8)), (0, (7, 2, 1.5, 2)))
MARKS = ("o", "s", "^", "D", "v", "P")
FONT = ["DejaVu Sans"]
_WORDS = "var(--picture, sans-serif)"  # the page's own font

_STYLE = {
    "svg.fonttype": "none", "svg.hashsalt": "pva", "svg.image_inline": True,
    "text.parse_math": False, "axes.formatter.use_mathtext": False, "axes.unicode_minus": True,
    "font.family": "sans-serif", "font.sans-serif": FONT, "font.size": 9.0,
    "text.color": INK, "axes.labelcolor": QUIET, "axes.edgecolor": QUIET, "axes.labelsize": 8.5,
    "axes.linewidth": 0.7, "axes.spines.top": False, "axes.spines.right": False,
    "axes.titlesize": 9.5, "axes.titleweight": "bold", "axes.titlelocation": "left",
    "axes.grid": True, "axes.grid.axis": "y", "grid.color": HAIR, "grid.linewidth": 0.6,
    "axes.axisbelow": True, "xtick.color": QUIET, "ytick.color": QUIET, "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5, "xtick.major.size": 3.0, "ytick.major.size": 0.0,
    "xtick.major.width": 0.7, "lines.linewidth": 1.7, "lines.markersize": 5.5,
    "hatch.linewidth": 0.7, "figure.facecolor": "none", "axes.facecolor": "none",
    "savefig.facecolor": "none", "legend.frameon": False, "legend.fontsize": 8.5,
}


class Drawing(str):
    """The SVG of a picture, whose sheet can be printed again as PNG.

    Parameters
    ----------
    sheet : matplotlib.figure.Figure
        As painted and laid out.
    """

    sheet: Sheet

    def png(self, dots_per_inch: int = 200) -> bytes:
        """The same picture in dots, on white."""
        stream = io.BytesIO()
        with matplotlib.rc_context(_STYLE):
            self.sheet.savefig(stream, format="png", dpi=dots_per_inch, facecolor="white",
                               metadata={"Software": None})
        return stream.getvalue()


def _sheet(size) -> Sheet:
    sheet = Sheet(figsize=size, layout="constrained")
    sheet.get_layout_engine().set(w_pad=0.06, h_pad=0.06)
    return sheet


def picture(name: str, paint: Callable, *, alternative: str, title: str,
            size: tuple[float, float] = (7.2, 3.6)) -> tuple[Drawing, object]:
    """Draw a picture and give it back as SVG for the page.

    Parameters
    ----------
    name : str
        Prefix of every id.
    paint : callable
        Called with the empty sheet; what it returns is handed back.
    alternative, title : str
        Text alternative, and the picture's own title.
    size : tuple of float
        Width and height in inches.

    Returns
    -------
    tuple of (Drawing, object)
        The SVG, and what `paint` returned.
    """
    with matplotlib.rc_context(_STYLE):
        sheet = _sheet(size)
        given = paint(sheet)
        drawing = Drawing(_as_markup(sheet, name, title, alternative))
    sheet.set_layout_engine("none")  # laid out once, for both forms
    drawing.sheet = sheet
    return drawing, given


def _as_markup(sheet, name, title, alternative):
    stream = io.StringIO()
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    sheet.savefig(stream, format="svg", metadata=nothing)
    body = stream.getvalue()
    body = body[body.index("<svg"):]
    body = re.sub(r"<!--.*?-->\s*", "", body, flags=re.S)
    body = re.sub(r"<metadata>.*?</metadata>\s*", "", body, flags=re.S)
    box = re.search(r'viewBox="([^"]+)"', body).group(1)
    body = body[body.index(">") + 1:]
    body = body.replace("xlink:href", "href")
    body = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', body)
    body = re.sub(r'href="#([^"]+)"', rf'href="#{name}-\1"', body)
    body = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", body)
    body = re.sub(r"font: ([^'\";]*?)(\d[\d.]*px) [^;\"]*",
                  rf"font: \1\2 {_WORDS}", body)
    body = re.sub(r"font-family: [^;\"]*", f"font-family: {_WORDS}", body)
    head = (f'<svg viewBox="{box}" role="img" aria-labelledby="{name}-title {name}-desc" '
            f'class="picture" data-picture="{name}">'
            f'<title id="{name}-title">{escape(title)}</title>'
            f'<desc id="{name}-desc">{escape(alternative)}</desc>')
    return head + body.strip() + "\n"


def alone(svg: str) -> str:
    """A picture of the page as a file of its own: it names its standard and a plain font."""
    standard = '<svg xmlns="http://www.w3.org/2000/svg" '
    return svg.replace("<svg ", standard, 1).replace(_WORDS, "sans-serif")


def axes_place(sheet, axes) -> dict:
    """Where a linear pair of axes lies in the picture, for the reader's control.

    Returns
    -------
    dict
        ``x0, x1, y0, y1`` in the picture's own units (y downwards) and the limits of the data.
    """
    sheet.draw_without_rendering()
    box = axes.get_window_extent()
    scale = 72 / sheet.dpi
    height = sheet.get_figheight() * 72
    low, high = axes.get_xlim()
    bottom, top = axes.get_ylim()
    return {"x0": round(box.x0 * scale, 2), "x1": round(box.x1 * scale, 2),
            "y0": round(height - box.y0 * scale, 2), "y1": round(height - box.y1 * scale, 2),
            "low": float(low), "high": float(high), "bottom": float(bottom), "top": float(top)}


def shades() -> LinearSegmentedColormap:
    """From paper to river, ever darker, so that it reads in grey as well."""
    return LinearSegmentedColormap.from_list("shades", (PAPER, MIST, SHALLOW, RIVER))


def wrapped(text: str, width: int = 34, lines: int = 3) -> str:
    """A name in a few short lines; what is longer ends in dots; the table has it whole."""
    return textwrap.fill(text, width, max_lines=lines, placeholder=" \N{HORIZONTAL ELLIPSIS}")


def names_at_rows(axes, names) -> None:
    """Names of rows down the left side, set as text and not as ticks."""
    axes.set_yticks(range(len(names)), [wrapped(n) for n in names])
    for label in axes.get_yticklabels():
        label.set_multialignment("right")
    axes.tick_params(axis="y", labelcolor=INK)


def graded(colors) -> ListedColormap:
    """One colour for each whole number from 0."""
    return ListedColormap(list(colors))


def counted(axis) -> None:
    """Whole numbers with thousands separated."""
    axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:,.0f}"))


def in_percent(axis) -> None:
    """Chances as percents."""
    axis.set_major_formatter(FuncFormatter(lambda v, _: f"{100 * v:.0f} %"))


def whole_years(axis, most: int = 8) -> None:
    """Few ticks on whole years."""
    axis.set_major_locator(MaxNLocator(most, integer=True))
    axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:.0f}"))


def at_line(axes, x, y, text, *, color=INK, dx=5, dy=0, ha="left", va="center", size=8.5,
            weight="normal", ground=False) -> None:
    """A label at a point, shifted by points, on a pale ground where lines run behind it."""
    box = {"boxstyle": "round,pad=0.25", "fc": PAPER, "ec": "none", "alpha": 0.86}
    axes.annotate(text, (x, y), xytext=(dx, dy), textcoords="offset points", color=color, ha=ha,
                  va=va, fontsize=size, fontweight=weight, annotation_clip=False,
                  bbox=box if ground else None)


def boxed(axes, corner, width, height, *, fill, line, width_of_line=1.2) -> None:
    """A box with round corners."""
    axes.add_patch(FancyBboxPatch(corner, width, height, facecolor=fill, edgecolor=line,
                                  linewidth=width_of_line,
                                  boxstyle="round,pad=0,rounding_size=0.06"))


def spread_labels(values, room: float) -> list[float]:
    """Heights of labels moved apart so that neighbours keep `room` between them."""
    order = sorted(range(len(values)), key=lambda i: values[i])
    placed = list(values)
    for before, now in zip(order, order[1:], strict=False):
        placed[now] = max(placed[now], placed[before] + room)
    return placed
