"""The check against data in words and a table, made from its summary."""

from __future__ import annotations

from pva.decide.seen import QUADRATS

QUANTILES = ("q05", "q25", "q50", "q75", "q95")


def answer_of_data_check(summary: dict) -> str:
    """How many of the counts held out lie where they were predicted."""
    rows = [r for r in summary["rows"] if r["held_out"]]
    if summary["held_out_from"] is None:
        inside = sum(r["verdict"] == "inside" for r in summary["rows"])
        return (f"{inside} of {len(summary['rows'])} counts lie inside the 90 % band predicted for "
                "them; the estimates may know all of them, so this is no test.")
    since = summary["held_out_from"]
    if not rows:
        return f"No count of {since} or later could be held against a prediction."
    inside = summary["held_out_inside"]
    text = (f"{inside} of the {len(rows)} counts since {since}, which the estimates do not know, "
            "lie inside the 90 % band predicted for them")
    outside = [r for r in rows if r["verdict"] == "outside"]
    if not outside:
        return f"{text}: nothing here speaks against the model."
    worst = max(outside, key=lambda r: abs(r["percentile"] - 50))
    more = "more" if worst["percentile"] > 50 else "fewer"
    return (f"{text}; furthest off: {worst['count']} {worst['what']} at {worst['site']} "
            f"({worst['when']}), {more} than the {worst['q05']:.0f} to {worst['q95']:.0f} "
            "predicted.")


def data_rows(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Every count beside its predicted distribution."""
    header = ["count", "seen", "median", "25 to 75 %", "5 to 95 %", "percentile", "verdict"]
    rows = [[count_words(r), str(r["count"]), f"{r['q50']:.0f}",
             f"{r['q25']:.0f} to {r['q75']:.0f}", f"{r['q05']:.0f} to {r['q95']:.0f}",
             percentile_words(r["percentile"]),
             r["verdict"] + (", held out" if r["held_out"] else ", known")]
            for r in summary["rows"]]
    return header, rows


def count_words(row: dict) -> str:
    """Which count a row is about, in short."""
    what = "adults dug" if row["what"] == QUADRATS else "marked seen"
    return f"{row['site']} {row['when']}, {what}"


def percentile_words(percentile: float) -> str:
    """A percentile, whole, never a bare 0 or 100."""
    if percentile < 0.5:
        return "below 1"
    return "above 99" if percentile > 99.5 else f"{percentile:.0f}"


def data_words(summary: dict) -> list[str]:
    """How to read it, and what was taken for granted."""
    tests = summary["held_out"]
    lines = []
    if tests:
        lines.append(f"Of {tests} counts about {max(tests / 10, 0.1):.1g} would lie outside by "
                     "chance alone; counts of one year share its luck, so they stray together. A "
                     "visit at which animals were easier or harder to find than on average strays "
                     "too.")
    lines.append("Known counts helped to make the estimates: they show how the model fits, and "
                 "test nothing. No calibration target is among the counts.")
    inside = [r["verdict"] == "inside" for r in summary["rows"] if not r["held_out"]]
    if tests and inside:
        lines.append(f"Of the {len(inside)} known counts {len(inside) - sum(inside)} lie outside; "
                     f"about {max(len(inside) / 10, 0.1):.1g} would by chance alone.")
    spread = summary["clumping"]
    lines.append("Counts in quadrats are taken to scatter "
                 + ("as the published variance law of mussel surveys says"
                    if spread is None else f"with clumping k = {spread:.2g}, from earlier surveys")
                 + "; a survey is held against the census of its calendar year.")
    return lines + list(summary["notes"])


def answer_of_change(summary: dict) -> str:
    """Which estimates moved by more than their doubt."""
    beyond, total = summary["beyond_its_doubt"], summary["compared"]
    if not total:
        return "The two files have no number in common."
    if not beyond:
        return f"None of the {total} numbers in both files moved by more than two standard errors."
    named = ", ".join(beyond[:5]) + (f" and {len(beyond) - 5} more" if len(beyond) > 5 else "")
    return (f"{len(beyond)} of the {total} numbers in both files moved by more than two standard "
            f"errors: {named}. Ask why before using them.")


def change_rows(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Two estimates files side by side."""
    header = ["number", "before", "after", "difference", "in standard errors", ""]
    return header, [[r["key"], _with_se(r["before"], r["se_before"]),
                     _with_se(r["after"], r["se_after"]),
                     "" if r["difference"] is None else f"{r['difference']:+.3g}",
                     "" if r["in_se"] is None else f"{r['in_se']:+.1f}", r["verdict"]]
                    for r in summary["rows"]]


def _with_se(value: float | None, se: float | None) -> str:
    if value is None:
        return "not told"
    return f"{value:.3g}" + ("" if se is None else f" ({se:.2g})")
