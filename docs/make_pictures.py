"""Draws the pictures of the documentation: the model year and the life cycle.

Run from the top of the project: ``python docs/make_pictures.py``. Shades of grey and words only, so
that the pictures can be printed and read without colour.
"""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("svg")
import matplotlib.pyplot as plt  # noqa: E402 - the backend comes first
from matplotlib.patches import FancyBboxPatch  # noqa: E402

PICTURES = Path(__file__).resolve().parent / "pictures"

# Number, title, words; the order is that of `simulate_block` in pva/engine/kernel.py.
STEPS = (
    ("1", "The year is drawn", "how good the year is for every rate; bad years"),
    ("2", "Collections, then releases", "just after the census"),
    ("3", "Breeding", "census before breeding: the animals that were counted breed"),
    ("4", "Survival", "each animal lives or dies; new releases by a survival of their own"),
    ("5", "Growth", "survivors stay or move on; census after breeding: they breed now"),
    ("6", "Movement", "between sites; hosts may carry young; the young take their place"),
    ("7", "Limits of space", "where a site is too full, animals are removed at random"),
    ("8", "Census", "everything is counted; the next year begins"),
)


def draw_model_year() -> plt.Figure:
    """The eight steps of a model year, one beneath the other."""
    figure, axes = _blank(8.4, 8.2)
    top, height, gap = 8.0, 0.72, 0.28
    for place, (number, title, words) in enumerate(STEPS):
        low = top - (place + 1) * height - place * gap
        shade = "#d9d9d9" if title == "Census" else "white"
        _box(axes, (0.5, low), (7.5, height), shade)
        axes.text(0.85, low + height / 2, number, ha="center", va="center", fontsize=17,
                  fontweight="bold")
        axes.text(1.25, low + 0.46, title, va="center", fontsize=12, fontweight="bold")
        axes.text(1.25, low + 0.19, words, va="center", fontsize=9.5)
        if place < len(STEPS) - 1:
            _arrow(axes, (4.25, low), (4.25, low - gap))
    axes.plot([8.0, 8.3, 8.3, 8.0], [0.64, 0.64, 7.64, 7.64], color="black", linewidth=1.2)
    _arrow(axes, (8.1, 7.64), (8.0, 7.64))
    axes.text(8.36, 4.2, "next year", rotation=90, va="center", fontsize=9.5)
    _limits(axes, 8.7, 8.2)
    return figure


LIFE = (
    (2.6, 5.6, "adults", "females, males"),
    (6.6, 5.6, "glochidia", "larvae in the water"),
    (9.6, 3.4, "on a host fish", "carried for weeks"),
    (6.6, 1.2, "juveniles", "dropped to the river bed"),
    (2.6, 1.2, "first census", "recruits: the first stage"),
    (0.9, 3.4, "younger stages", "grow by age or length"),
)
LINKS = (
    (0, 1, (4.6, 6.35), "share gravid x glochidia per female\nx share fertilised"),
    (1, 2, (8.7, 4.8), "meets a fish x attaches\n(room on the fish is limited)"),
    (2, 3, (8.7, 1.95), "suitability of the fish\nx (1 - immunity)"),
    (3, 4, (4.6, 0.32), "settlement: alive at the first census"),
    (4, 5, (0.2, 2.15), "survival\nand growth"),
    (5, 0, (0.2, 4.75), "survival\nand growth"),
)


def draw_life_cycle() -> plt.Figure:
    """The life cycle by way of the host fish, with the rate on every arrow."""
    figure, axes = _blank(9.2, 5.6)
    for start, end, at, words in LINKS:
        _link(axes, LIFE[start][:2], LIFE[end][:2])
        centred = start in (0, 3)
        axes.text(*at, words, ha="center" if centred else "left", va="center", fontsize=9)
    for x, y, title, words in LIFE:
        _box(axes, (x - 1.05, y - 0.42), (2.1, 0.84), "#d9d9d9" if title == "adults" else "white")
        axes.text(x, y + 0.14, title, ha="center", va="center", fontsize=11.5, fontweight="bold")
        axes.text(x, y - 0.18, words, ha="center", va="center", fontsize=8.5)
    axes.text(5.1, 3.4, "stocked animals enter at the stage released\nand are counted apart "
              "from wild-born ones", ha="center", va="center", fontsize=9.5, style="italic")
    _limits(axes, 12.4, 6.9)
    axes.set_xlim(-0.4, 12.4)
    return figure


def _link(axes, start, end):
    """An arrow between two boxes, shortened so that it ends outside them."""
    (x0, y0), (x1, y1) = start, end
    if y0 == y1:
        side = 1.1 if x1 > x0 else -1.1
        _arrow(axes, (x0 + side, y0), (x1 - side, y1))
        return
    rise = 0.47 if y1 > y0 else -0.47
    _arrow(axes, (x0 + 0.25 * (x1 - x0), y0 + rise), (x1 - 0.1 * (x1 - x0), y1 - rise))


def _blank(width: float, height: float):
    figure, axes = plt.subplots(figsize=(width, height))
    axes.axis("off")
    return figure, axes


def _limits(axes, right: float, top: float) -> None:
    axes.set_xlim(0, right)
    axes.set_ylim(0, top)
    axes.set_position((0, 0, 1, 1))


def _box(axes, corner, size, shade: str) -> None:
    axes.add_patch(FancyBboxPatch(corner, *size, boxstyle="round,pad=0.02,rounding_size=0.08",
                                  facecolor=shade, edgecolor="black", linewidth=1.2))


def _arrow(axes, start, end) -> None:
    axes.annotate("", end, start, arrowprops={"arrowstyle": "-|>", "color": "black", "lw": 1.3,
                                              "shrinkA": 0, "shrinkB": 0})


DRAWN = {
    "model-year.svg": (draw_model_year, "The model year: eight steps in their fixed order"),
    "life-cycle.svg": (draw_life_cycle, "The life cycle of a mussel by way of its host fish"),
}


def write_pictures(folder: Path = PICTURES) -> list[Path]:
    """Draw every picture into a folder; text stays text, and the same words give the same file."""
    folder.mkdir(parents=True, exist_ok=True)
    settings = {"svg.fonttype": "none", "svg.hashsalt": "pva", "font.family": "sans-serif"}
    paths = []
    for name, (draw, title) in DRAWN.items():
        with plt.rc_context(settings):
            figure = draw()
            figure.savefig(folder / name, metadata={"Title": title, "Date": None})
            plt.close(figure)
        paths.append(folder / name)
    return paths


if __name__ == "__main__":
    for path in write_pictures():
        print(path.name)
