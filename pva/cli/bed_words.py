"""What `pva estimate` says about beds and host fish."""

from __future__ import annotations

from pva.cli.terminal import Terminal

TWO = "{:.2g}"


def tell_beds(terminal: Terminal, summary: dict) -> None:
    """Densities, young animals, searches of the surface, where to dig next, host fish."""
    terminal.table(["animals per m2, latest survey", "survey", "value", "95 % interval",
                   "units dug", "blank"],
                  [[r["name"], r["survey"], TWO.format(r["value"]), between(r), r["units"],
                    r["blanks"]] for r in latest(summary["density"])])
    terminal.table(["recruits, latest survey", "survey", "definite", "probable", "cannot tell"],
                  [[r["name"], r["survey"], r["definite"], r["probable"], r["cannot_tell"]]
                   for r in latest(summary["recruits"])])
    terminal.table(["seen at the surface", "share", "95 % interval", "of animals"],
                  [[r["stage"], TWO.format(r["value"]), between(r), r["there"]]
                   for r in summary.get("surface_search", [])])
    terminal.table(["where the next units tell most", "stratum", "dug now", "share of the next"],
                  [[r["site"], r["stratum"], r["units"], f"{100 * r['share']:.0f} %"]
                   for r in summary.get("next_units", [])])
    terminal.table(["host fish per 100 m2", "latest year", "value", "95 % interval", "fish"],
                  [[place(r), r["year"], TWO.format(r["value"]), between(r), r["fish"]]
                   for r in latest(summary.get("hosts", []))])
    terminal.table(["glochidia per fish", "value", "95 % interval", "samples"],
                  [[place(r), TWO.format(r["value"]), between(r), r["samples"]]
                   for r in summary.get("glochidia_per_host", [])])


def place(row: dict) -> str:
    """Host and site, without the group that the name begins with."""
    return row["name"].partition("/")[2].replace("/", ", ")


def between(row: dict) -> str:
    """The interval of a row, two figures; nothing where there is none."""
    if row["low"] is None or row["high"] is None:
        return ""
    return f"{TWO.format(row['low'])} to {TWO.format(row['high'])}"


def latest(rows: list[dict]) -> list[dict]:
    """Rows of the last survey of every name."""
    last = {row["name"]: row for row in rows}
    return list(last.values())
