"""The spreadsheet form of a scenario: which sheets it has, in the order of the life cycle.

Three kinds of sheet: `KeySheet`, one key a row; `RowSheet`, one row of a list a row; `PlaceSheet`,
one row a place such as a stage, a site or both, with a RATE or plain values. What fits none of
them goes to the sheet of other keys, so that nothing is ever lost.
"""

from __future__ import annotations

from dataclasses import dataclass

from pva.scenario.spec_plan import MEASURES
from pva.sources import KINDS

TEXT, NUMBER, WHOLE, SWITCH, PAIR, LIST, TABLE = (
    "text", "number", "whole number", "on/off", "two numbers", "list", "number, or key: number")
LAWS = ("logit-normal", "beta", "lognormal", "normal", "uniform", "log-uniform", "triangular")
TARGETS = ("recruits_per_adult", "growth_rate", "glochidia_per_host")
STAGES, SITES, RELEASES, HOSTS = "‹stages›", "‹sites›", "‹releases›", "‹hosts›"  # names of its own


@dataclass(frozen=True)
class Cell:
    """One value: where it stands under its row, and how it is written.

    Parameters
    ----------
    heading : str
    path : tuple of str
        Keys below the row or the place.
    kind : str
        One of the kinds of this module.
    unit : str
    choices : tuple of str
        Words to choose from; one of ‹stages› and the like stands for the scenario's own names.
    """

    heading: str
    path: tuple[str, ...]
    kind: str = TEXT
    unit: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class KeySheet:
    """One key a row."""

    name: str
    about: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class RowSheet:
    """Rows of a list."""

    name: str
    about: str
    path: tuple[str, ...]
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Pattern:
    """Path of a place; parts in braces are labels, which may be limited to some words."""

    parts: tuple[str, ...]
    allowed: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def labels(self) -> tuple[str, ...]:
        return tuple(p[1:-1] for p in self.parts if p.startswith("{"))

    def allows(self, label: str, word: str) -> bool:
        limited = dict(self.allowed)
        return label not in limited or word in limited[label]


@dataclass(frozen=True)
class PlaceSheet:
    """One row a place.

    Parameters
    ----------
    labels : tuple of Cell
        What names the place.
    patterns : tuple of Pattern
        Where it stands in the scenario.
    rate : bool
        Whether a RATE stands there.
    cells : tuple of Cell
        Plain values there, or beside the RATE.
    rate_under : tuple of str
        Keys under the place of which one holds the RATE; the last where a year `until` is given.
    """

    name: str
    about: str
    labels: tuple[Cell, ...]
    patterns: tuple[Pattern, ...]
    rate: bool = True
    cells: tuple[Cell, ...] = ()
    rate_under: tuple[str, ...] = ()


RATE_CELLS = (
    Cell("value", ("value",), NUMBER, "best value: mean over ordinary years, per year"),
    Cell("low", ("interval",), NUMBER, "low end of the 95 % interval"),
    Cell("high", ("interval",), NUMBER, "high end of the 95 % interval"),
    Cell("se", ("se",), NUMBER, "standard error, in place of the interval"),
    Cell("law", ("distribution",), TEXT, "blank: normal on the link scale", LAWS),
    Cell("year_sd", ("year_sd",), NUMBER, "SD between ordinary years, same unit as the value"),
    Cell("by_year", ("by_year",), TABLE, "year: value; year: value"),
    Cell("source_kind", ("source",), TEXT, "", KINDS),
    Cell("source", ("source",), TEXT, "which data, which paper, whose judgement"),
    Cell("estimate", ("estimate",), TEXT, "key in the estimates file, in place of a value"),
    Cell("published", ("published",), TEXT, "key of the catalogue, in place of a value"),
)
_SITE = Cell("site", (), TEXT, "blank: every site alike", (SITES,))
_STAGE = Cell("stage", (), TEXT, "", (STAGES,))


def _number(heading: str, unit: str = "", *path: str) -> Cell:
    return Cell(heading, path or (heading,), NUMBER, unit)


def _year(heading: str, *path: str) -> Cell:
    return Cell(heading, path or (heading,), WHOLE, "year")


def _whole(heading: str, unit: str = "", *path: str) -> Cell:
    return Cell(heading, path or (heading,), WHOLE, unit)


def _text(heading: str, *choices: str) -> Cell:
    return Cell(heading, (heading,), TEXT, "", choices)


def _key(path: str, kind: str = NUMBER, unit: str = "", *choices: str) -> Cell:
    return Cell(path, tuple(path.split(".")), kind, unit, choices)


def _at(*parts: str, **allowed: tuple[str, ...]) -> Pattern:
    return Pattern(parts, tuple(allowed.items()))


_WHERE = Cell("where", ("where",), LIST, "river, each site, a number of sites, or site; site")
_PLAN = (Cell("number", ("number",), TABLE, "animals a year, or year: animals"), _year("first"),
         _year("last"), _whole("interval", "years"))

SHEETS: tuple[KeySheet | RowSheet | PlaceSheet, ...] = (
    KeySheet("question", "What is asked, over which years, and how animals are counted.", (
        _key("title", TEXT), _key("species", TEXT), _key("description", TEXT),
        _key("estimates", TEXT, "path of estimates.yaml from the folder of this file"),
        _key("years.first", WHOLE, "year"), _key("years.last", WHOLE, "year"),
        _key("census", TEXT, "", "before breeding", "after breeding"),
        _key("numbers", TEXT, "", "both sexes", "females"))),
    RowSheet("stages", "Stages of life, youngest first: fixed years, or a range of lengths.",
             ("stages",), (
                 _text("name"), _whole("years", "years"),
                 Cell("length_from", ("length_mm",), PAIR, "mm"),
                 Cell("length_to", ("length_mm",), PAIR, "mm"),
                 Cell("breeds", ("breeds",), SWITCH), Cell("adult", ("adult",), SWITCH))),
    PlaceSheet("survival", "Chance of living one year, 0 to 1. The number to measure first.",
               (_STAGE, _SITE),
               (_at("survival", "{stage}"), _at("sites", "{site}", "survival", "{stage}"))),
    PlaceSheet("growth", "Chance that a survivor moves on within the year; not for stages of fixed "
               "years.", (_STAGE, Cell("to", (), TEXT, "blank: the next stage", (STAGES,)), _SITE),
               (_at("growth", "{stage}"), _at("growth", "{stage}", "{to}"),
                _at("sites", "{site}", "growth", "{stage}"),
                _at("sites", "{site}", "growth", "{stage}", "{to}"))),
    PlaceSheet("young", "Young: per adult and year, or step by step from females over host fish.",
               (Cell("step", (), TEXT, "", ("per_adult", "females", "gravid", "glochidia",
                                            "attachment", "settlement")),
                Cell("target", (), TEXT, "of a step that is solved for", (*TARGETS, "at_1_mm"))),
               (_at("recruitment", "{step}", step=(
                   "per_adult", "females", "gravid", "glochidia", "attachment", "settlement")),
                _at("recruitment", "{step}", "calibrate", "{target}",
                    step=("attachment", "settlement"), target=TARGETS),
                _at("recruitment", "{step}", "{target}", step=("glochidia",),
                    target=("at_1_mm",)))),
    KeySheet("young at", "More about young: where calibrations hold, and how young are spread.", (
        _key("recruitment.settlement.calibrate.hosts_per_100m2", NUMBER, "fish per 100 m2"),
        _key("recruitment.settlement.calibrate.adults_per_m2", NUMBER, "adults per m2"),
        _key("recruitment.attachment.calibrate.hosts_per_100m2", NUMBER, "fish per 100 m2"),
        _key("recruitment.attachment.calibrate.adults_per_m2", NUMBER, "adults per m2"),
        _key("recruitment.glochidia.power", NUMBER, "power of length"),
        _key("recruitment.fertilised.half_density", NUMBER, "animals per m2"),
        _key("recruitment.fertilised.scale", NUMBER, "animals per m2"),
        _key("recruitment.enters", TEXT, "", STAGES),
        _key("recruitment.dispersion", NUMBER))),
    RowSheet("host fish", "Fish that carry glochidia.", ("recruitment", "hosts"), (
        _text("name"), _number("immunity_most", "share", "immunity", "most"),
        _number("immunity_half_load", "glochidia per fish", "immunity", "half_load"))),
    PlaceSheet("hosts", "What each host fish does with glochidia.",
               (Cell("host", (), TEXT, "", (HOSTS,)),
                Cell("what", (), TEXT, "share; glochidia per fish; per fish per 100 m2",
                     ("suitability", "capacity", "contact"))),
               (_at("recruitment", "hosts", "{host}", "{what}",
                    what=("suitability", "capacity", "contact")),)),
    KeySheet("years", "How the luck of years is shared, and which layers of chance are on.", (
        _key("year_effects.between_rates", NUMBER, "correlation"),
        _key("year_effects.between_sites", NUMBER, "correlation"),
        _key("year_effects.between_sites.river_km", NUMBER, "km"),
        _key("year_effects.carry_over", NUMBER, "correlation"),
        _key("bad_years.none", TEXT, "reason, where there are no bad years"),
        _key("chance.unknown", SWITCH), _key("chance.years", SWITCH),
        _key("chance.individuals", SWITCH))),
    RowSheet("bad years", "Kinds of bad years: chance per year or certain years; what is left of "
             "survival, young and fish (1 = as usual).", ("bad_years",), (
                 _text("name"), _number("chance", "per year"),
                 Cell("years", ("years",), LIST, "year; year"), _whole("length", "years"),
                 Cell("survival", ("survival",), TABLE, "factor, or stage: factor"),
                 _number("recruitment", "factor"), _number("hosts", "factor"),
                 Cell("strikes", ("strikes",), TEXT, "or a correlation",
                      ("together", "separately")))),
    RowSheet("sites", "Sites.", ("sites",), (
        _text("name"), _number("area_m2", "m2"), _number("river_km", "km"),
        _number("capacity_per_m2", "adults per m2"), _text("role", "donor"),
        Cell("start_estimate", ("start", "estimate"), TEXT, "key in the estimates file"),
        Cell("start_from", ("start", "project_from"), TEXT, "no animals yet", ("releases",)))),
    KeySheet("start of all", "Where no site says how many animals it begins with.", (
        _key("start.estimate", TEXT), _key("start.project_from", TEXT, "", "releases"))),
    PlaceSheet("start", "Animals at the first census.", (
        Cell("stage", (), TEXT, "or `animals` for all", (STAGES,)), _SITE),
        (_at("start", "{stage}"), _at("sites", "{site}", "start", "{stage}"))),
    PlaceSheet("fish", "Host fish per 100 m2 at each site; with `until`, once they are back.",
               (Cell("site", (), TEXT, "", (SITES,)), Cell("host", (), TEXT, "", (HOSTS,))),
               (_at("sites", "{site}", "hosts", "{host}"),),
               cells=(_year("until"), Cell("blocked", ("blocked",), SWITCH),
                      _whole("ramp_years", "years")),
               rate_under=("per_100m2", "then_per_100m2")),
    PlaceSheet("space", "Limits of space, animals at a site.", (_SITE,),
               (_at("limits"), _at("sites", "{site}", "limits")), rate=False, cells=(
                   _number("ceiling_adults", "adults", "ceiling", "adults"),
                   _number("ceiling_animals", "animals", "ceiling", "animals"),
                   _number("beverton_holt_adults", "adults", "beverton_holt", "adults"),
                   _number("ricker_adults", "adults", "ricker", "adults"))),
    RowSheet("releases", "Animals released, each year just after the census.", ("releases",), (
        _text("name"), _text("site", SITES), _text("stage", STAGES), _whole("age", "year in it"),
        _text("source"), *_PLAN, _whole("order_lead", "years"),
        _number("delivered_mean", "share", "delivered", "mean"),
        _number("delivered_sd", "share", "delivered", "sd"), _number("cost_each", "money"),
        _number("mothers_per_1000", "mothers"),
        Cell("until_measure", ("until", "measure"), TEXT, "stops the release", MEASURES),
        _number("until_at_least", "", "until", "at_least"),
        _whole("until_running", "years", "until", "running"),
        Cell("until_where", ("until", "where"), LIST, "river, or site; site"))),
    PlaceSheet("first year", "Survival in the year of release, 0 to 1. Measure this one first.",
               (Cell("release", (), TEXT, "", (RELEASES,)),),
               (_at("releases", "{release}", "first_year_survival"),)),
    RowSheet("collections", "Animals taken from a site.", ("collections",), (
        _text("name"), _text("site", SITES), _text("stage", STAGES), *_PLAN)),
    RowSheet("goals", "What must hold; all goals are judged in the same run.", ("goals",), (
        _text("name"), _text("measure", *MEASURES), _number("at_least"), _number("at_most"),
        _year("in"), Cell("first_year", ("in_years",), PAIR, "year"),
        Cell("last_year", ("in_years",), PAIR, "year"), _whole("of_years", "years"),
        _whole("running", "years"), _WHERE)),
    RowSheet("survey goals", "What a survey must show.", ("survey_goals",), (
        _text("name"), _text("estimate"), _number("lower_limit_at_least"),
        _number("confidence", "one-sided"))),
    KeySheet("judging", "Chance wanted, the threshold of risk, what may vary, how much is run.", (
        _key("quasi_extinction.adults_below", NUMBER, "adults"),
        _key("quasi_extinction.from", WHOLE, "year"),
        Cell("quasi_extinction.where", ("quasi_extinction", "where"), LIST, _WHERE.unit),
        _key("chance_wanted", NUMBER, "0 to 1"),
        _key("solve.vary", TEXT, "", "number", "total", "mothers"),
        _key("solve.releases", LIST, "release; release"), _key("solve.most", NUMBER, "animals"),
        _key("genetics.ne_over_n", NUMBER), _key("genetics.founders", NUMBER, "animals"),
        _key("runs.draws", WHOLE), _key("runs.replicates", WHOLE, "per draw"),
        _key("runs.seed", WHOLE), _key("runs.keep_trajectories", WHOLE))),
)
OTHER = KeySheet("other keys", "Keys that have no place in the other sheets, as text.", ())
