"""Small scenarios of every kind, for comparing the engine with its twin."""

import numpy as np
from hypothesis import strategies as st

from pva.lifehistory.rates import POSITIVE, PROBABILITY, LinkMoments, Rate
from pva.scenario.resolved import (
    AFTER,
    BEFORE,
    BOTH_SEXES,
    FEMALES,
    LOST,
    RIVER,
    BadYear,
    Calibration,
    CalibrationBase,
    Carried,
    Chance,
    Collection,
    Host,
    HostDensity,
    JointCovariance,
    Limits,
    Movement,
    QuasiExtinction,
    Recruitment,
    Release,
    Repeat,
    Resolved,
    Runs,
    Site,
    Stage,
    Start,
    Until,
    YearEffects,
)

FIRST = 2026
SITES = ("Quillstone", "Tallow", "Osprey")
STAGES = ("seed", "young", "grown", "old")
WATCHED = ("adults", "animals", "wild_adults", "stocked_adults", "females", "recruits",
           "sites_occupied", "replacement_ratio", "wild_share")


class Maker:
    """Builds one scenario from a source of random numbers."""

    def __init__(self, numbers):
        self.numbers_from = numbers
        self.last = FIRST + self.whole(1, 8)
        self.chain = self.often(0.5)

    # small choices

    def whole(self, low, high):
        return self.numbers_from.randint(low, high)

    def often(self, share):
        """True in about that share of scenarios."""
        return self.whole(0, 99) < share * 100

    def part(self, low, high):
        """A number between two bounds; never a round one, so that nothing ties."""
        return low + (high - low) * (self.whole(1, 996) + 0.123) / 997

    def one_of(self, *options):
        return options[self.whole(0, len(options) - 1)]

    def year(self):
        return self.whole(FIRST, self.last)

    # rates

    def probability(self, key, low=0.02, high=0.98, effect=None):
        if self.often(0.05):
            return Rate(key, PROBABILITY, float(self.whole(0, 1)), effect=effect or key)
        value = self.part(low, high)
        most = min(value, 1 - value)
        if self.often(0.08):
            return self.linked(key, PROBABILITY, np.log(value / (1 - value)), effect)
        more = {}
        doubt = self.whole(0, 3)
        if doubt == 1:
            more["se"] = self.part(0.05, 0.6) * most
        elif doubt == 2:
            more["interval"] = (value * 0.8, value + (1 - value) * 0.3)
        return Rate(key, PROBABILITY, value, effect=effect or key, **more,
                    **self.years(most * 0.8), **self.table(value, low, high))

    def positive(self, key, low, high, effect=None):
        value = self.part(low, high)
        if self.often(0.08):
            return self.linked(key, POSITIVE, np.log(value), effect)
        more = {"se": self.part(0.05, 0.5) * value} if self.often(0.3) else {}
        return Rate(key, POSITIVE, value, effect=effect or key, **more, **self.years(value),
                    **self.table(value, low, high))

    def linked(self, key, kind, mean, effect):
        name = f"estimate of {key}"
        link = LinkMoments(float(mean), self.part(0, 0.5), self.one_of(0.0, 0.37))
        natural = float(np.exp(mean)) if kind == POSITIVE else float(1 / (1 + np.exp(-mean)))
        return Rate(key, kind, natural, effect=effect or key, link=link, estimate=name)

    def years(self, most):
        return {"year_sd": self.part(0.05, 0.7) * most} if self.often(0.5) else {}

    def table(self, value, low, high):
        if not self.often(0.15):
            return {}
        first = value if self.often(0.5) else self.part(low, high)
        return {"by_year": {self.year(): first, self.year() + 1: self.part(low, high)}}

    # life

    def stages(self):
        found = []
        for name in STAGES[: self.whole(1, 4)]:
            kind = self.whole(0, 2)
            found.append([name, self.whole(1, 3) if kind == 0 else None,
                          (10.0 + 10 * len(found), 21.5 + 11 * len(found)) if kind == 1 else None])
        if self.chain and self.often(0.5):
            self.power = self.part(1.5, 3.2)
            found = [[n, None, (10.0 + 10 * i, 21.5 + 11 * i)] for i, (n, _, _) in enumerate(found)]
        else:
            self.power = None
        breeding = [self.often(0.4) for _ in found]
        breeding[-1] = breeding[-1] or not any(breeding)
        return tuple(
            Stage(n, years=y, length_mm=mm, breeds=b, adult=b if self.often(0.8) else not b)
            for (n, y, mm), b in zip(found, breeding, strict=True)
        )

    def survival(self, stages, site):
        return {s.name: self.probability(*self.keyed(f"survival/{s.name}", site)) for s in stages}

    def keyed(self, key, site):
        """Key, bounds and effect: a rate of the site's own has its own draw, the same effect."""
        return f"{key} @ {site}", 0.05, 0.97, key

    def growth(self, ways, site):
        """At every site its own shares, and now and then its own ways."""
        return {
            stage: {to: self.probability(f"growth/{stage}/{to} @ {site}", 0.02, 0.6,
                                         f"growth/{stage}/{to}")
                    for to in (reached[:-1] if self.often(0.2) else reached)}
            for stage, reached in ways.items()
        }

    def ways(self, stages):
        names, found = [s.name for s in stages], {}
        for stage in stages:
            others = [n for n in names if n != stage.name]
            if stage.years is None and others:
                start = self.whole(0, len(others) - 1)
                found[stage.name] = (others[start:] + others[:start])[: self.whole(0, len(others))]
            else:
                found[stage.name] = []
        return found

    # young

    def recruitment(self, stages):
        """A maker of each site's recruitment: all sites have one form."""
        enters = self.one_of(*(s.name for s in stages))
        self.dispersion = self.part(0.2, 5) if self.often(0.4) else None
        if self.chain:
            return self.host_chain(stages, enters)
        if self.often(0.5):
            return lambda site: Recruitment(
                enters, self.dispersion, females=self.probability(f"females @ {site}"),
                per_adult=self.positive(f"per_adult @ {site}", 0.05, 3, "per_adult"))
        parents = [s.name for s in stages if s.breeds]
        pairs = list(dict.fromkeys((self.one_of(*(s.name for s in stages)), p)
                                   for p in parents for _ in range(2)))
        shared = self.often(0.5)
        return lambda site: Recruitment(enters, self.dispersion, entries={
            pair: self.positive(f"{pair} @ {site}", 0.05, 2,
                                "recruitment" if shared else f"recruitment/{pair}")
            for pair in pairs})

    def host_chain(self, stages, enters):
        hosts = tuple(
            Host(name, self.probability(f"suitability/{name}"),
                 self.positive(f"contact/{name}", 0.01, 0.2),
                 self.positive(f"capacity/{name}", 5, 300) if self.often(0.6) else None,
                 immunity_most=self.one_of(0.0, 0.83), immunity_half_load=self.part(5, 200))
            for name in ("drum", "perch", "bass")[: self.whole(1, 3)]
        )
        fertilised = self.one_of(None, ("half_density", 0.0123), ("scale", 0.0456))
        parts = {
            "females": self.probability("females", 0.2, 0.8),
            "gravid": self.probability("gravid", 0.4, 0.95),
            "glochidia": self.positive("glochidia", 1000, 20000) if self.power is None
            else self.positive("glochidia", 0.5, 5),
            "power": self.power, "fertilised": fertilised, "hosts": hosts,
            "attachment": self.attachment(stages), "settlement": self.settlement(),
        }
        self.chain_parts = Recruitment(enters, self.dispersion, **parts)
        return lambda site: self.chain_parts

    def attachment(self, stages):
        evenly = sum(s.breeds * (s.years or 1) for s in stages) == 1 or self.power is None
        if self.often(0.2) and evenly:  # with unequal mothers see test_assemble
            return Calibration("glochidia_per_host", self.positive("target/load", 0.01, 0.1),
                               self.part(5, 20), self.part(0.05, 0.5))
        return self.probability("attachment", 0.0005, 0.02)

    def settlement(self):
        if self.often(0.4):
            return Calibration("recruits_per_adult", self.positive("target/recruits", 0.005, 0.1),
                               self.part(5, 20), self.part(0.05, 0.5))
        return self.probability("settlement", 0.001, 0.1)

    def hosts(self, site):
        if not self.chain:
            return ()
        found = []
        for host in self.chain_parts.hosts:
            rate = self.positive(f"density/{host.name} @ {site}", 0.5, 20, f"density/{host.name}")
            blocked = self.year() if self.often(0.3) else None
            found.append(HostDensity(host.name, rate, blocked, self.whole(1, 4)))
        return tuple(found)

    # sites

    def site(self, name, stages, ways, recruitment):
        limits = Limits(
            ceiling_animals=self.part(5, 80) if self.often(0.25) else None,
            ceiling_adults=self.part(2, 40) if self.often(0.25) else None,
            beverton_holt=self.part(5, 80) if self.often(0.25) else None,
            ricker=self.part(5, 80) if self.often(0.25) else None,
        )
        return Site(name, self.start(name, stages), self.survival(stages, name),
                    self.growth(ways, name), recruitment(name), self.hosts(name), limits,
                    area_m2=self.part(100, 900), river_km=10 * SITES.index(name) + self.part(0, 9))

    def start(self, name, stages):
        if self.often(0.2):
            return Start({"animals": self.positive_start(f"start/animals @ {name}", 90)})
        return Start({s.name: self.positive_start(f"start/{s.name} @ {name}", 40)
                      for s in stages if self.often(0.8)})

    def positive_start(self, key, most):
        value = float(self.whole(0, most))
        se = value * 0.2 if self.often(0.3) and value > 0 else None
        return Rate(key, POSITIVE, value, se=se, effect="")

    # what happens

    def numbers(self, most):
        if self.often(0.5):
            return {year: self.part(0.4, most) for year in range(FIRST, self.last)}
        return {self.year(): self.part(0.4, most) for _ in range(self.whole(1, 5))}

    def release(self, i, stages, sites):
        site, stage = self.one_of(*sites), self.one_of(*stages)
        others = [s for s in sites if s != site]
        donor = self.one_of(*others) if others and self.often(0.4) else None
        own = None
        if self.often(0.6):
            own = self.probability(f"release {i} survival")
        until = Until(*self.rule(sites)) if self.often(0.4) else None
        numbers, repeat, lead = self.numbers(30), None, self.whole(0, 2)
        if self.often(0.5) and max(numbers) < self.last - 1:
            measure, limit, where, running = self.rule(sites)
            repeat = Repeat(measure, limit, self.whole(max(numbers) + 1, self.last - 1), where,
                            running)
        return Release(
            f"release {i}", site, stage.name, numbers, order_lead=lead, repeat=repeat,
            age=self.whole(1, stage.years or 1), source=donor or "hatchery", from_site=donor,
            age_written=self.often(0.5), delivered_mean=self.one_of(1.0, 0.8123),
            delivered_sd=self.one_of(0.0, 0.1), first_year_survival=own,
            times_survival=own is not None and self.often(0.4),
            cost_each=self.one_of(0.0, 28.0), until=until,
        )

    def rule(self, sites):
        """What is watched, its limit, where, and for how many years running."""
        measure = self.one_of(*WATCHED, "adults_per_m2",
                              *(["glochidia_per_host"] if self.chain else []))
        where = RIVER if self.often(0.5) else tuple(sites[: self.whole(1, len(sites))])
        small = "ratio" in measure or "per" in measure or "share" in measure
        return measure, self.part(0, 1.5 if small else 40), where, self.whole(1, 3)

    def delivered(self, row):
        """A share of exactly 1 cannot vary."""
        from dataclasses import replace
        return replace(row, delivered_sd=0.0) if row.delivered_mean == 1 else row

    def bad_year(self, i, stages):
        fixed = self.often(0.4)
        return BadYear(
            f"kind {i}", chance=0.0 if fixed else self.one_of(0.0, 0.31, 0.62, 1.0),
            years=tuple(sorted({self.year() for _ in range(3)})) if fixed else (),
            length=self.whole(1, 3),
            survival={s.name: self.one_of(1.0, 0.55, 0.0, 1.2) for s in stages},
            recruitment=self.one_of(1.0, 0.3, 0.0), hosts=self.one_of(1.0, 0.4, 0.0),
            strikes=self.one_of(0.0, 1.0, 0.5),
        )

    def movement(self, stages, sites):
        found = {}
        for _ in range(self.whole(0, 4)):
            source = self.one_of(*sites)
            to = self.one_of(LOST, *(s for s in sites if s != source))
            stage = self.one_of("all", *(s.name for s in stages))
            key = f"movement/{stage}/{source}/{to}"
            found[key] = Movement(stage, source, to, self.probability(key, 0.02, 0.7))
        return tuple(found.values())

    def carried(self, sites):
        found = {}
        for _ in range(self.whole(0, 3)):
            source, to = self.one_of(*sites), self.one_of(*sites)
            if source != to:
                found[source, to] = Carried(source, to, self.part(0.02, 0.45))
        return tuple(found.values())

    def year_effects(self, stages):
        between = self.one_of(0.0, 0.42, 1.0)
        if self.often(0.3):
            between = {(f"survival/{stages[0].name}", f"survival/{stages[-1].name}"): -0.53}
        sites, scale = self.one_of(1.0, 0.0, 0.63), None
        if self.often(0.3):
            sites, scale = None, self.part(2, 30)
        return YearEffects(between, sites, scale, self.one_of(0.0, 0.37, -0.4))

    def base(self, resolved_parts, stages, sites):
        first = sites[0]
        return CalibrationBase(stages, resolved_parts["census"], resolved_parts["numbers"],
                               first.survival, first.growth, first.recruitment, first.hosts,
                               first.area_m2)

    def covariance(self, sites):
        linked = [r for s in sites for r in s.survival.values() if r.link is not None]
        if len(linked) < 2 or not self.often(0.7):
            return None
        sd = np.array([r.link.se for r in linked])
        return JointCovariance(tuple(r.estimate for r in linked),
                               np.outer(sd, sd) * (0.4 + 0.6 * np.eye(len(sd))))

    def resolved(self):
        stages = self.stages()
        ways, recruitment = self.ways(stages), self.recruitment(stages)
        names = SITES[: self.whole(1, 3)]
        sites = tuple(self.site(n, stages, ways, recruitment) for n in names)
        plain = {"census": self.one_of(BEFORE, AFTER),
                 "numbers": self.one_of(BOTH_SEXES, BOTH_SEXES, FEMALES)}
        return Resolved(
            "random", FIRST, self.last, plain["census"], stages, sites,
            QuasiExtinction(1, FIRST + 1), numbers=plain["numbers"],
            year_effects=self.year_effects(stages),
            bad_years=tuple(self.bad_year(i, stages) for i in range(self.whole(0, 2))),
            releases=tuple(self.delivered(self.release(i, stages, names))
                           for i in range(self.whole(0, 3))),
            collections=tuple(
                Collection(f"collection {i}", self.one_of(*names), self.one_of(*stages).name,
                           self.numbers(12)) for i in range(self.whole(0, 2))),
            movement=self.movement(stages, names), carried=self.carried(names),
            chance=Chance(unknown=self.often(0.7), years=self.often(0.7),
                          individuals=self.often(0.75)),
            runs=Runs(draws=2, replicates=2), covariance=self.covariance(sites),
            base=self.base(plain, stages, sites),
        )


@st.composite
def scenarios(draw):
    """Scenarios of at most three sites, four stages and eight years, with every feature."""
    return Maker(draw(st.randoms(use_true_random=True))).resolved()
