"""Tables of runs and of the number to stock, all scenarios under each other."""

from __future__ import annotations

from collections.abc import Iterator

from pva.decide.options import orders_of
from pva.report.exports.sheets import Sheet, heading, sheet
from pva.report.material import Material, RunOf
from pva.results.measures import MEASURES, UNITS, WORDS

_BETWEEN = ("low, 95 % simulation", "high, 95 % simulation", "low, 95 % of draws",
            "high, 95 % of draws")
ORDER = {"order_year": "order year", "release_year": "release year", "age": "age (years)",
         "number": "number (animals)", "mothers": "mothers (animals)", "site": "site",
         "release": "release", "stage": "stage", "source": "source",
         "cost": "cost (money of the scenario)"}


def run_sheets(material: Material) -> Iterator[Sheet]:
    """Every table of the runs and stocking answers at hand; none that would be empty."""
    for one in (_yearly(material), _by_site(material), _risks(material), _goals(material),
                _parameters(material), _assumptions(material), _numbers(material),
                _curve(material), _orders(material), _compared(material)):
        if one.rows:
            yield one


def _yearly(material):
    columns = ["scenario", "year"]
    columns += [heading(f"{WORDS[m]}, mean", UNITS[m]) for m in MEASURES]
    columns.append(heading("simulation error of mean adults (standard error)", "animals"))
    columns += [heading(f"{WORDS[m]}, {100 * q:g} % of runs below", "animals")
                for m in ("adults", "wild_adults") for q in _quantiles(material)]
    return sheet("yearly", "Yearly measures of the whole river: means and quantiles over all runs",
                 columns, (row for run in material.runs for row in _years_of(run)))


def _quantiles(material):
    return material.main.data["quantile"].values.tolist() if material.main else []


def _years_of(run: RunOf):
    data = run.data
    means = [data[f"{m}_mean"].values for m in MEASURES]
    quantiles = [row for m in ("adults", "wild_adults") for row in data[f"{m}_quantile"].values]
    for y, year in enumerate(data.year.values):
        yield [run.title, year, *(m[y] for m in means), data.adults_se.values[y],
               *(q[y] for q in quantiles)]


def _by_site(material):
    columns = ["scenario", "site", "year",
               *(heading(f"{WORDS[m]}, mean", UNITS[m]) for m in MEASURES)]

    def rows():
        for run in material.runs:
            values = [run.data[f"{m}_at_site"].values for m in MEASURES]
            for s, site in enumerate(run.data.site.values):
                for y, year in enumerate(run.data.year.values):
                    yield [run.title, str(site), year, *(v[s, y] for v in values)]

    return sheet("by_site", "Yearly measures by site: means over all runs", columns, rows())


def _risks(material):
    columns = ["scenario", "risk", "year", "chance", *_BETWEEN]

    def rows():
        for run in material.runs:
            quasi = run.summary["quasi_extinction"]
            few = f"adults below {quasi['threshold']:g} at some census since {quasi['from']}"
            for words, risk in ((few, quasi), ("no animal left", run.summary["extinction"])):
                yield from zip(*_repeated(run, words, risk), strict=True)

    return sheet("risks", "Chances of falling below the threshold and of losing every animal, by "
                 "year", columns, rows())


def _repeated(run, words, risk):
    years = len(risk["year"])
    return [[run.title] * years, [words] * years,
            *(risk[k] for k in ("year", "chance", "low", "high", "draw_low", "draw_high"))]


def _goals(material):
    columns = ["scenario", "goal", "chance", *_BETWEEN, "verdict", "chance wanted"]

    def rows():
        for run in material.runs:
            joint = run.summary["all_goals"]
            named = [*run.summary["goals"], {"name": "all goals in the same run"} | joint]
            for goal in named if joint["chance"] is not None else ():
                yield [run.title, goal["name"], *(goal[k] for k in (
                    "chance", "low", "high", "draw_low", "draw_high", "verdict")),
                    run.data.attrs["chance_wanted"]]

    return sheet("goals", "Chance of every goal, and its verdict", columns, rows())


def _parameters(material):
    keys = ("name", "value", "doubt", "se", "low", "high", "years_sd", "source_kind", "source",
            "status", "low_confidence", "note")
    columns = ["scenario", "number", "value", "doubt in words", "standard error", "low", "high",
               "standard deviation between years", "kind of source", "source", "status",
               "low confidence", "note", "by year"]
    return sheet("parameters", "Every number of the scenario with its source (yearly rates, unless "
                 "the name says otherwise)", columns,
                 ([s.resolved.title, *(row[k] for k in keys),
                   "; ".join(f"{y}: {v:g}" for y, v in sorted(row["by_year"].items()))]
                  for s in _scenarios(material) for row in s.parameters()))


def _assumptions(material):
    return sheet("assumptions", "What is assumed, one sentence each",
                 ["scenario", "no.", "sentence"],
                 ([s.resolved.title, i, words] for s in _scenarios(material)
                  for i, words in enumerate(s.assumptions(), 1)))


def _scenarios(material):
    found = {s.digest: s for s in (*(r.scenario for r in material.runs),
                                   *(s.scenario for s in material.stock))}
    return found.values()


_NUMBER = {"reachable": "reachable", "number": "number per release year (animals)",
           "low": "low, 95 % simulation (animals)", "high": "high, 95 % simulation (animals)",
           "draw_low": "low, 95 % of draws (animals)", "draw_high": "high, 95 % of draws (animals)",
           "chance_wanted": "chance wanted", "chance_at_number": "chance at the number",
           "best_chance": "best chance", "total_animals": "animals in all (animals)",
           "cost": "cost (money of the scenario)",
           # whole mothers of every order are more; they stand in the order sheet
           "mothers": "mothers, not rounded up by order (animals)",
           "limit": "limit that binds", "seed": "seed"}


def _numbers(material):
    return sheet("number_to_stock", "How many animals to stock", ["scenario", *_NUMBER.values()],
                 ([s.title, *(s.answer.get(k) for k in _NUMBER)] for s in material.stock))


def _curve(material):
    keys = ("number", "chance", "low", "high")
    return sheet("number_to_stock_curve", "Chance of meeting every goal against the number stocked",
                 ["scenario", "number per release year (animals)", "chance", *_BETWEEN[:2]],
                 ((s.title, *row) for s in material.stock
                  for row in zip(*(s.answer["curve"][k] for k in keys), strict=True)))


def _orders(material):
    return sheet("order_sheet", "What to order, by year. Permits to collect, rear and release, a "
                 "health check and the genetics of the source come first",
                 ["scenario", *ORDER.values()],
                 ([s.title, *(line.get(k) for k in ORDER)] for s in material.stock
                  for line in orders_of(s.answer)))


def _compared(material):
    keys = ("outcome", "first", "other", "difference", "low", "high", "settled")
    found = material.comparison or {"against_first": (), "scenarios": [""]}
    return sheet("compared", "Every scenario against the first, in the same luck",
                 ["scenario", "against", "outcome", "first", "this one", "difference",
                  *_BETWEEN[:2], "settled"],
                 ([one["scenario"], found["scenarios"][0], *(row[k] for k in keys)]
                  for one in found["against_first"] for row in one["differences"]))
