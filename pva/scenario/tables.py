"""The parameter table with sources, and the assumptions of a scenario in sentences."""

from __future__ import annotations

from typing import Any

from pva.lifehistory import catalogue
from pva.lifehistory.rates import Rate
from pva.scenario.rates_used import every_rate, spread_is_measured
from pva.scenario.resolved import AFTER, FEMALES, Calibration, Limits, Recruitment, Resolved, Site

_WEAK_KINDS = ("assumed", "default", "given")
MOST_NAMES = 6  # of release rows in one sentence


def parameters_of(resolved: Resolved) -> list[dict[str, Any]]:
    """Every rate once, in life order.

    Returns
    -------
    list of dict
        ``name`` (key of the rate), ``value``, ``doubt`` (text), ``se``, ``low``, ``high``
        (numbers or None), ``years_sd``, ``by_year``, ``source_kind``, ``source``, ``status``,
        ``low_confidence`` (True where nobody measured or published it well), ``note``.
    """
    return [_row(rate) for rate in every_rate(resolved)] + _calibrated(resolved)


def _row(rate: Rate) -> dict[str, Any]:
    low, high = rate.interval or (None, None)
    weak, note = _confidence(rate)
    return {
        "name": rate.key, "value": rate.value, "doubt": doubt_words(rate), "se": rate.se,
        "low": low, "high": high, "years_sd": rate.year_sd, "by_year": dict(rate.by_year),
        "source_kind": rate.source.kind, "source": rate.source.text,
        "status": rate.source.status, "low_confidence": weak, "note": note,
    }


def doubt_words(rate: Rate) -> str:
    """What we do not know about a rate, in words; empty where nothing is said."""
    law = f", {rate.distribution}" if rate.distribution else ""
    if rate.interval is not None:
        return f"{rate.interval[0]:g} to {rate.interval[1]:g}{law}"
    if rate.se:
        return f"se {rate.se:g}{law}" + (", joint with other estimates" if rate.estimate else "")
    return ""


def _confidence(rate: Rate) -> tuple[bool, str]:
    source = rate.source
    if source.kind in _WEAK_KINDS:
        return True, {"given": "no source named", "default": "default of the package"}.get(
            source.kind, "assumed")
    if source.status == "memory":
        return True, "recalled, not seen in a text"
    entry = catalogue.named(source.text.partition(":")[0])
    if entry is None:
        return False, ""
    note = f"confidence {entry.confidence}"
    if (rate.value, rate.interval, rate.se) != (entry.value, entry.interval, entry.se):
        note += f"; the catalogue says {entry.figure}"  # a number of one's own under its key
    return entry.confidence == "low", note


def _calibrated(resolved: Resolved) -> list[dict[str, Any]]:
    rows = {}
    for site in resolved.sites:
        for name in ("attachment", "settlement"):
            rate = getattr(site.recruitment, name)
            if isinstance(rate, Calibration):
                rows[f"recruitment/{name}"] = {
                    "name": f"recruitment/{name}", "value": None, "doubt": "follows its target",
                    "se": None, "low": None, "high": None, "years_sd": 0.0, "by_year": {},
                    "source_kind": "calibrated", "source": calibration_words(rate), "status": "",
                    "low_confidence": True, "note": "cannot be measured",
                }
    return list(rows.values())


def calibration_words(calibration: Calibration) -> str:
    """Target and place of a calibration."""
    return (f"solved for {calibration.target.replace('_', ' ')} {calibration.rate.value:g} at "
            f"{calibration.hosts_per_100m2:g} hosts per 100 m2 and "
            f"{calibration.adults_per_m2:g} adults per m2")


def assumptions_of(resolved: Resolved) -> list[str]:
    """Assumptions in sentences, each with the direction it may err in where that is known."""
    parts = (_counting, _recruiting, _luck, _space, _releasing, _sourcing, _judging)
    return _together([sentence for part in parts for sentence in part(resolved)],
                     [row.name for row in resolved.releases])


def _together(sentences: list[str], names: list[str]) -> list[str]:
    """One sentence for all rows of releases of which the very same is said."""
    found: dict[str, list[str]] = {}
    for sentence in sentences:
        name = next((n for n in names if f"({n})" in sentence), None)
        pattern = sentence if name is None else sentence.replace(f"({name})", "(\0)", 1)
        found.setdefault(pattern, []).append(name or "")
    return [pattern.replace("\0", _few(rows)) for pattern, rows in found.items()]


def _few(names: list[str]) -> str:
    """Names one after the other; of many the first ones and how many more."""
    shown = "; ".join(names[:MOST_NAMES])
    return shown if len(names) <= MOST_NAMES else f"{shown} and {len(names) - MOST_NAMES} more"


def _counting(resolved: Resolved) -> list[str]:
    moment = "after" if resolved.census == AFTER else "before"
    who = "females only" if resolved.numbers == FEMALES else "both sexes"
    found = [f"The census stands {moment} breeding and counts {who}."]
    if any(s.years for s in resolved.stages):
        fixed = ", ".join(s.name for s in resolved.stages if s.years)
        found.append(f"Animals spend a fixed number of years as {fixed}; none matures early by "
                     "luck.")
    if resolved.stages[-1].years is None:
        found.append(f"Survival as {resolved.stages[-1].name} does not fall with age; where old "
                     "animals die faster, risk is understated.")
    if any(r.by_year for r in every_rate(resolved)):
        names = ", ".join(r.key for r in every_rate(resolved) if r.by_year)
        found.append(f"These change by year as written: {names}.")
    return found


def _recruiting(resolved: Resolved) -> list[str]:
    r = resolved.sites[0].recruitment
    noise = "a Poisson number" if r.dispersion is None else (
        f"a negative binomial number with k {r.dispersion:g}")
    found = [f"Recruits of a site and year are {noise} around their mean."]
    if r.form == "hosts":
        return found + _chain(r)
    found.append("Recruits per adult do not depend on host fish; where hosts are scarce, recovery "
                 "is overstated.")
    if r.fertilised is None:
        found.append("Fertilisation does not fail at low density; where it does, small populations "
                     "fare worse than shown.")
    return found


def _chain(r: Recruitment) -> list[str]:
    hosts = ", ".join(h.name for h in r.hosts)
    found = [f"Young need host fish: {hosts}. Other fishes carry none, and the host fish stay as "
             "many as the scenario says; where they decline, recovery is overstated."]
    if r.fertilised is None:
        found.append("All eggs are fertilised at any density; where they are not, small "
                     "populations fare worse than shown.")
    if not any(h.immunity_most for h in r.hosts):
        found.append("Hosts gain no immunity; where they do, high loads give fewer recruits.")
    for name in ("attachment", "settlement"):
        rate = getattr(r, name)
        if isinstance(rate, Calibration):
            found.append(f"{name.capitalize()} is not measured: {calibration_words(rate)}. The "
                         "target cannot serve as a check of the model.")
    return found


def _luck(resolved: Resolved) -> list[str]:
    found = []
    off = [words for on, words in (
        (resolved.chance.unknown, "what we do not know"),
        (resolved.chance.years, "differences between years"),
        (resolved.chance.individuals, "chance of single animals")) if not on]
    if off:
        found.append(f"Left out of the runs: {', '.join(off)}; risk is understated.")
    if resolved.no_bad_years_reason is not None:
        found.append(f"There are no bad years, because: {resolved.no_bad_years_reason}. Risk is "
                     "understated if they happen.")
    for row in resolved.bad_years:
        when = f"in {', '.join(map(str, row.years))}" if row.years else (
            f"with chance {row.chance:g} a year")
        length = "a year" if row.length == 1 else f"{row.length} years"
        found.append(f"A bad year ({row.name}) comes {when}, lasts {length} and multiplies "
                     f"{_multiplied(row)}; these numbers carry no source and no doubt.")
    effects = resolved.year_effects
    if isinstance(effects.between_rates, dict):
        found.append("Good and bad years of rates go together as the pairs written say; all others "
                     "are independent.")
    else:
        found.append("Good and bad years of different rates go together with correlation "
                     f"{effects.between_rates:g}.")
    if len(resolved.sites) > 1:
        how = "falling with river distance" if effects.distance_km else f"{effects.between_sites:g}"
        found.append(f"Sites share good and bad years with correlation {how}; the more they share, "
                     "the higher the risk of the river.")
    return found + (_spreads(resolved) if resolved.chance.years else [])


def _spreads(resolved: Resolved) -> list[str]:
    """How much ordinary years differ where nobody measured it, and whether they come in rows."""
    varying = [r for r in every_rate(resolved) if r.year_sd > 0]
    if not varying:
        return []
    carry = resolved.year_effects.carry_over
    found = [f"What a year was like carries over to the next with correlation {carry:g}." if carry
             else "A good or bad year tells nothing of the next one; where they come in rows, risk "
                  "is understated."]
    written = ", ".join(f"{r.key} (SD {r.year_sd:g})" for r in varying
                        if not spread_is_measured(r))
    if written:
        found.append(f"How much ordinary years differ is written and not measured: {written}.")
    return found


def _space(resolved: Resolved) -> list[str]:
    found = []
    free = [s.name for s in resolved.sites if s.limits == Limits()]
    if free:
        found.append(f"Nothing limits numbers at {', '.join(free)}; late numbers are overstated "
                     "where space runs out.")
    full = [words for s in resolved.sites if (words := _limits_words(s))]
    if full:
        found.append(f"Space is limited: {'; '.join(full)}. These numbers carry no source and no "
                     "doubt.")
    if len(resolved.sites) > 1 and not resolved.movement and not resolved.carried:
        found.append("Animals stay at their site and hosts carry no young between sites; where "
                     "they do, sites rescue each other.")
    return found


def _limits_words(site: Site) -> str:
    """The limits of a site; empty where it has none."""
    limits = site.limits
    return "; ".join(words for number, words in (
        (limits.ceiling_adults, "at most {:g} adults live at {}"),
        (limits.ceiling_animals, "at most {:g} animals live at {}"),
        (limits.beverton_holt, "{:g} adults halve the recruits of an adult at {}"),
        (limits.ricker, "{:g} adults leave 37 % of the recruits of an adult at {}"),
    ) if number is not None for words in [words.format(number, site.name)])


def _multiplied(row) -> str:
    """What a bad year does to survival, recruits and hosts, in words."""
    factors = sorted(set(row.survival.values()))
    parts = []
    if len(factors) == 1 and factors != [1.0]:
        parts.append(f"survival by {factors[0]:g}")
    elif len(factors) > 1:
        stages = ", ".join(f"{s} {f:g}" for s, f in row.survival.items())
        parts.append(f"survival by stage ({stages})")
    parts += [f"{words} by {factor:g}" for words, factor in (
        ("recruitment", row.recruitment), ("host fish", row.hosts)) if factor != 1]
    return " and ".join(parts) or "nothing"


def _releasing(resolved: Resolved) -> list[str]:
    found = []
    for row in resolved.releases:
        if row.made:
            found.append(f"Released already, and counted as it was ({row.name}): " + ", ".join(
                f"{n:g} in {y}" for y, n in row.numbers.items()) + ".")
            continue
        if row.delivered_sd and any(row.numbers.values()):
            found.append(f"Of the planned animals ({row.name}) {100 * row.delivered_mean:g} % are "
                         f"delivered on average, with an SD of {100 * row.delivered_sd:g} % "
                         "between years.")
        if row.repeat is not None:
            watched = row.repeat.measure.replace("_", " ")
            found.append(f"Animals ({row.name}) are ordered again at every census at which "
                         f"{watched} are at most {row.repeat.at_most:g}, "
                         f"through {row.repeat.last}: the money and the animals must be there. "
                         "Planned totals and the order sheet leave them out.")
        if row.first_year_survival is None and any(row.numbers.values()):
            found.append(f"Released animals ({row.name}) survive their first year like resident "
                         f"{row.stage} animals; they rarely do, so success is overstated.")
        if row.delivered_mean == 1 and not row.delivered_sd and any(row.numbers.values()):
            found.append(f"Every planned animal is delivered ({row.name}); deliveries often fall "
                         "short.")
    if resolved.releases and any(rate.value > 0 for site in resolved.sites
                                 for rate in site.start.numbers.values()):
        found.append("Animals at the first census count as wild-born; where some were stocked "
                     "earlier, the wild-born share of the first years is overstated.")
    if resolved.releases:
        found.append("Released animals and their young live and breed like wild ones after their "
                     "first year.")
    return found


def _sourcing(resolved: Resolved) -> list[str]:
    rates = every_rate(resolved)
    found = []
    for kind, words in (("assumed", "Resting on judgement"), ("given", "Without a source"),
                        ("default", "Defaults of the package")):
        names = [r.key for r in rates if r.source.kind == kind]
        if names:
            found.append(f"{words}: {', '.join(names)}.")
    found += _never_published(resolved, rates)
    sure = [r.key for r in rates if not r.is_uncertain and not r.key.startswith("start/")]
    if sure and resolved.chance.unknown:
        found.append(f"Taken as known exactly: {', '.join(sure)}; doubt is understated.")
    return found


def _never_published(resolved: Resolved, rates: list[Rate]) -> list[str]:
    """Rates of mussels in the wild that no publication gives and nobody measured here."""
    if not resolved.sites or resolved.sites[0].recruitment.form == "entries":
        return []  # a published matrix, of whatever animal
    young = [f"survival/{s.name}" for s in resolved.stages if not s.adult]
    never = ["recruitment/attachment", "recruitment/settlement", *young]
    names = [r.key for r in rates
             if r.key.partition(" @ ")[0] in never and r.source.kind in _WEAK_KINDS]
    return [f"No value is published for mussels in the wild, and no measurement is named here: "
            f"{', '.join(names)}. Local judgement alone stands behind these."] if names else []


def _judging(resolved: Resolved) -> list[str]:
    quasi = resolved.quasi_extinction
    found = [f"The population counts as as good as gone below {quasi.adults_below:g} adults, "
             f"counted from {quasi.from_year} on."]
    if resolved.genetics is not None:
        found.append(f"Effective numbers are {resolved.genetics.ne_over_n:g} of counted adults, "
                     f"starting from {resolved.genetics.founders:g} founders.")
    return found
