"""What a grid shows, in words and tables made from its summary."""

from __future__ import annotations

from pva.decide.grid import key_words
from pva.results.wording import chance_words

_MOST_LINES = 12
_MARKS = {"met": "", "cannot tell yet": " ?", "not met": ""}


def answer_of_explore(summary: dict) -> str:
    """One sentence: where the chance is highest and lowest, and how much of the grid is enough."""
    kind = "all_goals" if summary["goals"] else "quasi_extinction"
    what = "of meeting all goals" if summary["goals"] else "of falling below the threshold"
    points, total = summary["points"], summary["independent_runs"]
    low = min(points, key=lambda p: p[kind]["chance"])
    high = max(points, key=lambda p: p[kind]["chance"])
    text = (f"The chance {what} runs from {chance_words(low[kind]['chance'], total)} "
            f"({_at(low, summary)}) to {chance_words(high[kind]['chance'], total)} "
            f"({_at(high, summary)})")
    if not summary["goals"]:
        return f"{text}."
    met = sum(p["verdict"] == "met" for p in points)
    open_ = sum(p["verdict"] == "cannot tell yet" for p in points)
    wanted = chance_words(summary["chance_wanted"])
    enough = "no point" if met == 0 else f"{met} of {len(points)} points"
    return (f"{text}; {enough} of the grid {'reaches' if met < 2 else 'reach'} the {wanted} wanted"
            + (f", and for {open_} these runs cannot tell yet." if open_ else "."))


def _at(point: dict, summary: dict) -> str:
    keys = [v["key"] for v in summary["varied"]]
    return ", ".join(f"{key_words(k)} {_text(v)}"
                     for k, v in zip(keys, point["at"].values(), strict=True))


def enough_words(summary: dict) -> list[str]:
    """The smallest value of the first key that is enough, beside each choice of the others."""
    if not summary["enough"]:
        return []
    first = key_words(summary["varied"][0]["key"])
    lines = [f"Smallest value of {first} tried that gives the "
             f"{chance_words(summary['chance_wanted'])} wanted:"]
    others = [v["key"] for v in summary["varied"][1:]]
    for row in summary["enough"][:_MOST_LINES]:
        place = ", ".join(f"{key_words(k)} {_text(v)}"
                          for k, v in zip(others, row["at"].values(), strict=True))
        lines.append(f"  {place + ': ' if place else ''}{_least(row)}")
    left = len(summary["enough"]) - _MOST_LINES
    return lines + ([f"  and {left} more; --json lists all"] if left > 0 else [])


def _least(row: dict) -> str:
    if row["least"] is None:
        return "none of those tried"
    if row["least_beyond_doubt"] == row["least"]:
        return _text(row["least"])
    sure = row["least_beyond_doubt"]
    beyond = "none of those tried" if sure is None else _text(sure)
    return f"{_text(row['least'])} (beyond simulation error: {beyond})"


def grid_table(summary: dict) -> list[tuple[list[str], list[list[str]], str]]:
    """Chances as a table: the first key down, the second across, a table for each of the rest."""
    kind = "all_goals" if summary["goals"] else "quasi_extinction"
    varied, points = summary["varied"], summary["points"]
    total = summary["independent_runs"]
    across = varied[1]["values"] if len(varied) > 1 else [None]
    if len(across) > 8 or len(varied[0]["values"]) > 24:
        return []
    tables: dict[tuple, dict] = {}
    for point in points:
        place = list(point["at"].values())
        text = chance_words(point[kind]["chance"], total) + _MARKS[point.get("verdict", "met")]
        column = place[1] if len(place) > 1 else None
        tables.setdefault(tuple(place[2:]), {}).setdefault(place[0], {})[column] = text
    second = key_words(varied[1]["key"]) if len(varied) > 1 else ""
    header = [key_words(varied[0]["key"]), *((f"{second}: {_text(c)}" if i == 0 else _text(c))
                                            if c is not None else "chance"
                                            for i, c in enumerate(across))]
    unsure = " (?: these runs cannot tell yet)" if summary["goals"] else ""
    rest = [key_words(v["key"]) for v in varied[2:]]
    return [(header, [[_text(first), *(cells[c] for c in across)] for first, cells in rows.items()],
             ", ".join(f"{w} {_text(v)}" for w, v in zip(rest, place, strict=True))
             or f"Chance of meeting all goals{unsure}" * bool(summary["goals"]))
            for place, rows in list(tables.items())[:4]]


def _text(value) -> str:
    if isinstance(value, float | int) and not isinstance(value, bool):
        return f"{value:,.0f}" if float(value).is_integer() else f"{value:g}"
    return str(value)

