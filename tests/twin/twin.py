"""The model year in plain Python, one animal site at a time: the readable twin of the engine.

Written from the design: the order of a year, what counts as what, which luck is shared. It reads
the scenario itself (`Resolved`) and the same addressed random numbers, so whole-animal runs of the
engine must give the very same numbers.
"""

import math
from dataclasses import dataclass, field

from plain_matrix import (
    attachment_and_settlement,
    classes_of,
    fecundity,
    fertilised,
    first_class,
    start_numbers,
)
from plain_random import ENVIRONMENT, INDIVIDUALS, Luck, normal_quantile, replicate_key, stream
from plain_rates import (
    YearLuck,
    drawn_mean,
    expit,
    in_good_or_bad_year,
    link_sd,
    match_probability,
    mean_in_year,
)

from pva.model.draws import DrawTable
from pva.scenario.resolved import AFTER, FEMALES, LOST, RIVER, Calibration

ORIGINS = ("wild", "stocked")
FLOWS = ("recruits", "reached_adult", "adult_deaths", "glochidia_attached", "host_fish", "released",
         "collected")


@dataclass
class Census:
    """What is counted at a census, and the flows of the year that ended there."""

    year: int
    animals: dict  # origin -> site -> class -> n
    tallies: dict  # site -> name -> number


@dataclass
class Memory:
    """What a replicate remembers from year to year beside its animals."""

    bad_years_left: dict = field(default_factory=dict)  # (kind, site) -> years
    loads: dict = field(default_factory=dict)  # (site, host) -> load offered last year
    ended: set = field(default_factory=set)  # releases stopped for good
    running: dict = field(default_factory=dict)  # release -> years its rule has held
    low: dict = field(default_factory=dict)  # release -> years its measure has been low
    ordered: set = field(default_factory=set)  # (release, year) of releases to be repeated


def simulate(resolved, seed, draw, replicate):
    """Every census of one replicate, first to last."""
    return Twin(resolved, seed, draw, replicate).run()


class Twin:
    """One replicate of one draw."""

    def __init__(self, resolved, seed, draw, replicate):
        self.said = resolved
        self.draw = draw
        self.table = DrawTable(draws=resolved.runs.draws, seed=seed,
                               unknown=resolved.chance.unknown, covariance=resolved.covariance)
        self.environment = Luck(replicate_key(seed, ENVIRONMENT, draw, replicate))
        self.own = Luck(replicate_key(seed, INDIVIDUALS, draw, replicate))
        self.whole = resolved.chance.individuals
        self.classes = classes_of(resolved)
        self.sites = [s.name for s in resolved.sites]
        self.year_luck = YearLuck(resolved, self.environment) if resolved.chance.years else None
        self.solved = {
            s.name: attachment_and_settlement(resolved, s, self.table, draw)
            for s in resolved.sites if s.recruitment.form == "hosts"
        }

    def run(self):
        self.memory, self.means = Memory(), {}
        self.animals = {origin: {s: {c.name: 0 for c in self.classes} for s in self.sites}
                        for origin in ORIGINS}
        for site in self.said.sites:
            self.animals["wild"][site.name] = start_numbers(self.said, site, self.table, self.draw)
        self.cost = dict.fromkeys(self.sites, 0.0)
        self.flows = {s: dict.fromkeys(FLOWS, 0) for s in self.sites}
        censuses = [self.census(self.said.first)]
        self.judge_rules(censuses[-1])
        self.order_again(censuses[-1])
        for step, year in enumerate(range(self.said.first, self.said.last)):
            self.year, self.step = year, step
            self.flows = {s: dict.fromkeys(FLOWS, 0) for s in self.sites}
            self.model_year()
            censuses.append(self.census(self.year + 1))
            self.judge_rules(censuses[-1])
            self.order_again(censuses[-1])
        return censuses

    def model_year(self):
        """The fixed order of a year."""
        self.draw_bad_years()  # 1
        self.collect()  # 2
        releases = self.release()
        if self.said.census != AFTER:
            recruits = self.breed()  # 3
        self.residents_live_and_grow()  # 4, 5
        if self.said.census == AFTER:
            recruits = self.breed()
        self.releases_live_and_grow(releases)
        self.move()  # 6
        self.recruits_arrive(recruits)
        self.crowd()  # 7

    # one animal's luck, or its expectation

    def some(self, n, share, address):
        """How many of n do what each does with chance `share`."""
        if self.whole:
            return self.own.binomial(n, share, address, self.step)
        return n * min(max(share, 0), 1)

    def divided(self, n, ways):
        """n over ways [(share, address)], in order, cut where they would pass 1; and the rest."""
        taken, left, share_left = [], n, 1.0
        for share, address in ways:
            share = min(share, share_left)
            if left == 0 or share_left <= 0:
                taken.append(0)
                continue
            gone = self.some(left, share / share_left, address)
            taken.append(gone)
            left -= gone
            share_left -= share
        return taken, left

    # 1. rates and bad years

    def rate(self, rate, site):
        """A rate at a site this year."""
        place = (id(rate), self.year if rate.by_year else None)
        if place not in self.means:
            self.means[place] = mean_in_year(rate, self.table, self.draw, self.year)
        mean = self.means[place]
        if not self.said.chance.years or link_sd(rate) == 0:
            return mean
        z = self.year_luck.of(rate.effect or rate.key, site, self.step)
        return in_good_or_bad_year(rate, mean, z)

    def draw_bad_years(self):
        """Which kinds hold at which site; a start during an earlier one restarts its length."""
        left = self.memory.bad_years_left
        self.bad = {s: [] for s in self.sites}
        for kind in self.said.bad_years:
            for site in self.sites:
                left.setdefault((kind.name, site), 0)
                if self.year in kind.years or self.strikes(kind, site):
                    left[kind.name, site] = kind.length
                if left[kind.name, site] > 0:
                    left[kind.name, site] -= 1
                    self.bad[site].append(kind)

    def strikes(self, kind, site):
        if kind.years or not self.said.chance.years or kind.chance <= 0:
            return False
        if kind.chance >= 1:
            return True
        z = 0.0
        if kind.strikes > 0:
            river = stream("bad year", kind.name, "the whole river")
            z += math.sqrt(kind.strikes) * self.environment.normal(river, self.step)
        if kind.strikes < 1:
            here = stream("bad year", kind.name, site)
            z += math.sqrt(1 - kind.strikes) * self.environment.normal(here, self.step)
        return z < normal_quantile(kind.chance)

    def bad_survival(self, site, stage):
        return math.prod(kind.survival.get(stage, 1.0) for kind in self.bad[site])

    # 2. collections and releases

    def take(self, site, names, wanted, addresses):
        """Take animals at random over origins and classes, never more than are there."""
        places = [(o, c.name) for o in ORIGINS for c in self.classes if c.name in names]
        there = sum(self.animals[o][site][c] for o, c in places)
        wanted = min(wanted, there)
        all_taken, left, others = {}, wanted, there
        for origin, name in places:
            n = self.animals[origin][site][name]
            others -= n
            if self.whole:
                taken = self.own.hypergeometric(n, others, left, addresses(origin, name), self.step)
                left -= taken
            else:
                taken = n * (wanted / there) if there > 0 else 0
            self.animals[origin][site][name] = n - taken
            all_taken[name] = all_taken.get(name, 0) + taken
        self.flows[site]["collected"] += wanted
        return all_taken

    def collect(self):
        for row in self.said.collections:
            wanted = self.rounded(row.numbers.get(self.year, 0))
            if wanted > 0:
                self.take(row.site, [c.name for c in self.classes if c.stage == row.stage], wanted,
                          lambda o, c, row=row: stream("collection", row.name, o, c))

    def rounded(self, number):
        return math.floor(number + 0.5) if self.whole else number

    def release(self):
        """{row name: {class: animals}} of this year, counted in the stocked from next census on."""
        found = {}
        for row in self.said.releases:
            planned = self.planned(row)
            if planned <= 0 or row.name in self.memory.ended:
                continue
            number = self.rounded(planned * self.delivered_share(row))
            stage = [c for c in self.classes if c.stage == row.stage]
            name = stage[row.age - 1].name
            if row.from_site is None:
                found[row.name] = {name: number}
            else:
                names = [name] if row.age_written else [c.name for c in stage]
                found[row.name] = self.take(row.from_site, names, number,
                                            lambda o, c, row=row: stream("donor", row.name, o, c))
                number = sum(found[row.name].values())
            self.flows[row.site]["released"] += number
            self.cost[row.site] += number * row.cost_each
        return found

    def planned(self, row):
        """The planned number; after the planned years the last one again, where it was ordered."""
        if row.repeat is None or self.year <= row.last_planned:
            return row.numbers.get(self.year, 0)
        called = (row.name, self.year) in self.memory.ordered
        return row.numbers[row.last_planned] if called and self.year <= row.repeat.last else 0

    def delivered_share(self, row):
        if row.delivered_sd == 0 or not self.said.chance.years:
            return row.delivered_mean
        middle, sd = match_probability(row.delivered_mean, row.delivered_sd)
        return expit(middle + sd * self.environment.normal(stream("delivery", row.name), self.step))

    # 3. breeding

    def breed(self):
        """Recruits born at each site, {site: {class: n}}."""
        return {site.name: self.breed_at(site) for site in self.said.sites}

    def here(self, site, name):
        """Residents of a class, both origins."""
        return sum(self.animals[o][site][name] for o in ORIGINS)

    def breed_at(self, site):
        breeders = sum(self.here(site.name, c.name) for c in self.classes if c.breeds)
        young = site.recruitment
        if young.form == "entries":
            means = {}
            for (to, parent), rate in young.entries.items():
                parents = sum(self.here(site.name, c.name) for c in self.classes
                              if c.stage == parent)
                enters = first_class(self.classes, to).name
                means[enters] = means.get(enters, 0) + self.rate(rate, site.name) * parents
        else:
            enters = first_class(self.classes, young.enters).name
            if young.form == "per_adult":
                means = {enters: self.rate(young.per_adult, site.name) * breeders}
            else:
                means = {enters: self.through_hosts(site, breeders)}
        factor = math.prod(kind.recruitment for kind in self.bad[site.name])
        if site.limits.beverton_holt is not None:
            factor /= 1 + breeders / site.limits.beverton_holt
        if site.limits.ricker is not None:
            factor *= math.exp(-breeders / site.limits.ricker)
        if self.whole and young.dispersion is not None:
            k = young.dispersion
            factor *= self.own.gamma(k, stream("dispersion", site.name), self.step) / k
        return {enters: self.young(mean * factor, site.name, enters)
                for enters, mean in means.items()}

    def young(self, mean, site, enters):
        mean = min(mean, 1e12)  # of a site and year, so that numbers never run out
        if not self.whole:
            return mean
        return self.own.poisson(mean, stream("recruitment", site, enters), self.step)

    def through_hosts(self, site, breeders):
        """Recruits expected through the host fish."""
        young = site.recruitment
        solved_attachment, solved_settlement = self.solved[site.name]
        released = (
            sum(self.here(site.name, c.name) * fecundity(self.said.stages, young, c.stage)
                for c in self.classes if c.breeds)
            * self.rate(young.females, site.name) * self.rate(young.gravid, site.name)
            * self.rate(young.glochidia, site.name)
        )
        if young.fertilised is not None:
            released *= fertilised(young.fertilised, breeders / site.area_m2)
        attachment = (solved_attachment if isinstance(young.attachment, Calibration)
                      else self.rate(young.attachment, site.name))
        settlement = (solved_settlement if isinstance(young.settlement, Calibration)
                      else self.rate(young.settlement, site.name))
        densities = [self.host_density(site, h) for h in site.hosts]
        meeting = [self.rate(h.contact, site.name) * d
                   for h, d in zip(young.hosts, densities, strict=True)]
        juveniles = 0.0
        for host, density, meets in zip(young.hosts, densities, meeting, strict=True):
            fish = density * site.area_m2 / 100
            load = 0.0
            if fish > 0 and sum(meeting) > 0:
                met = -math.expm1(-sum(meeting)) * meets / sum(meeting)
                load = released * attachment * met / fish
            carried = load
            if host.capacity is not None:
                capacity = self.rate(host.capacity, site.name)
                carried = capacity * -math.expm1(-load / capacity) if capacity > 0 else 0.0
            last = self.memory.loads.get((site.name, host.name), 0.0)
            immune = host.immunity_most * (1 - 2 ** (-last / host.immunity_half_load))
            self.memory.loads[site.name, host.name] = load
            juveniles += (fish * carried * self.rate(host.suitability, site.name) * (1 - immune))
            self.flows[site.name]["glochidia_attached"] += fish * carried
            self.flows[site.name]["host_fish"] += fish
        return juveniles * settlement

    def host_density(self, site, here):
        """Fish per 100 m2: nothing through the blocked year, then equal steps to full."""
        density = self.rate(here.density, site.name)
        if here.blocked_until is not None:
            steps = min(max(self.year - here.blocked_until, 0), here.ramp_years)
            density *= steps / here.ramp_years
        return density * math.prod(kind.hosts for kind in self.bad[site.name])

    # 4 and 5. survival and growth

    def survival(self, site, one):
        """Chance that a resident of a class lives through the year."""
        if one.fixed and one.onward is None:
            return 0.0  # animals leaving a last stage of fixed years die
        usual = self.rate(self.said.site(site).survival[one.stage], site)
        return min(1.0, usual * self.bad_survival(site, one.stage))

    def grow(self, site, one, alive, address):
        """{class: n} of the survivors of a class."""
        if one.fixed:
            return {} if one.onward is None else {one.onward: alive}
        growth = self.said.site(site).growth.get(one.stage, {})
        to = [first_class(self.classes, s).name for s in growth]
        ways = [(self.rate(rate, site), address(f"{one.name} to {name}"))
                for rate, name in zip(growth.values(), to, strict=True)]
        taken, left = self.divided(alive, ways)
        reached = {one.name: left}
        for name, n in zip(to, taken, strict=True):
            reached[name] = reached.get(name, 0) + n
        return reached

    def residents_live_and_grow(self):
        adult = {c.name: c.adult for c in self.classes}
        for origin in ORIGINS:
            for site in self.sites:
                now = {c.name: 0 for c in self.classes}
                for one in self.classes:
                    n = self.animals[origin][site][one.name]
                    alive = self.some(n, self.survival(site, one),
                                      stream("survival", origin, site, one.name))
                    if one.adult:
                        self.flows[site]["adult_deaths"] += n - alive
                    reached = self.grow(site, one, alive, lambda step, o=origin, s=site:
                                        stream("growth", o, s, step))
                    for name, count in reached.items():
                        now[name] += count
                        if origin == "wild" and adult[name] and not one.adult:
                            self.flows[site]["reached_adult"] += count
                self.animals[origin][site] = now

    def releases_live_and_grow(self, releases):
        """First year of this year's releases; then they are stocked animals like any other."""
        for row in self.said.releases:
            for name, n in releases.get(row.name, {}).items():
                one = next(c for c in self.classes if c.name == name)
                alive = self.some(n, self.first_year(row, one),
                                  stream("release survival", row.name, name))
                if one.adult:
                    self.flows[row.site]["adult_deaths"] += n - alive
                reached = self.grow(row.site, one, alive, lambda step, row=row:
                                    stream("release growth", row.name, step))
                for to, count in reached.items():
                    self.animals["stocked"][row.site][to] += count

    def first_year(self, row, one):
        usual = self.survival(row.site, one)
        if row.first_year_survival is None or (one.fixed and one.onward is None):
            return usual
        own = self.rate(row.first_year_survival, row.site)
        if row.times_survival:
            return own * usual
        return min(1.0, own * self.bad_survival(row.site, one.stage))

    # 6. movement

    def move(self):
        """Residents and this year's releases move at once; recruits do not."""
        arriving = {o: {s: {c.name: 0 for c in self.classes} for s in self.sites} for o in ORIGINS}
        for origin in ORIGINS:
            for site in self.sites:
                for one in self.classes:
                    rows = [m for m in self.said.movement
                            if m.from_site == site and m.stage in ("all", one.stage)]
                    ways = [(self.rate(m.share, site),
                             stream("movement", origin, f"{m.stage} from {site} to {m.to}",
                                    one.name)) for m in rows]
                    taken, left = self.divided(self.animals[origin][site][one.name], ways)
                    arriving[origin][site][one.name] += left
                    for row, gone in zip(rows, taken, strict=True):
                        if row.to != LOST:
                            arriving[origin][row.to][one.name] += gone
        self.animals = arriving

    def recruits_arrive(self, recruits):
        """Hosts carry shares of the recruits; all enter their class as wild animals."""
        adult = {c.name: c.adult for c in self.classes}
        arriving = {s: {} for s in self.sites}
        for site in self.sites:
            shares = {to: sum(c.share for c in self.said.carried
                              if c.from_site == site and c.to == to) for to in self.sites}
            for name, born in recruits[site].items():
                to = [s for s in self.sites if shares[s] > 0]
                taken, left = self.divided(
                    born, [(shares[s], stream("carried", site, s, name)) for s in to])
                for place, n in [*zip(to, taken, strict=True), (site, left)]:
                    arriving[place][name] = arriving[place].get(name, 0) + n
        for site, young in arriving.items():
            for name, n in young.items():
                self.animals["wild"][site][name] += n
                self.flows[site]["recruits"] += n
                if adult[name]:
                    self.flows[site]["reached_adult"] += n

    # 7. limits of space

    def crowd(self):
        for site in self.said.sites:
            adults = [c.name for c in self.classes if c.adult]
            everyone = [c.name for c in self.classes]
            self.cut(site.name, adults, site.limits.ceiling_adults, "adults")
            self.cut(site.name, everyone, site.limits.ceiling_animals, "animals")

    def cut(self, site, names, ceiling, what):
        """Random removal down to a ceiling; proportional with individuals off."""
        if ceiling is None:
            return
        places = [(o, c) for o in ORIGINS for c in names]
        there = sum(self.animals[o][site][c] for o, c in places)
        keep = math.floor(ceiling) if self.whole else ceiling
        if there <= keep:
            return
        others, share = there, keep / there
        for origin, name in places:
            n = self.animals[origin][site][name]
            if self.whole:
                others -= n
                kept = self.own.hypergeometric(n, others, keep,
                                               stream("ceiling", what, origin, site, name),
                                               self.step)
                keep -= kept
            else:
                kept = n * share
            self.animals[origin][site][name] = kept

    # 8. census

    def census(self, year):
        counted = {o: {s: dict(self.animals[o][s]) for s in self.sites} for o in ORIGINS}
        return Census(year, counted, {s: self.tally(s) for s in self.sites})

    def tally(self, site):
        found = dict(self.flows[site])
        for origin in ORIGINS:
            here = self.animals[origin][site]
            found[f"{origin}_animals"] = sum(here.values())
            found[f"{origin}_adults"] = sum(here[c.name] for c in self.classes if c.adult)
        found["breeders"] = sum(self.here(site, c.name) for c in self.classes if c.breeds)
        adults = found["wild_adults"] + found["stocked_adults"]
        found["females"] = adults * self.share_of_females(site)
        found["cost"] = self.cost[site]
        return found

    def share_of_females(self, site):
        rate = self.said.site(site).recruitment.females
        if self.said.numbers == FEMALES:
            return 1.0
        return 0.5 if rate is None else drawn_mean(rate, self.table, self.draw)

    def judge_rules(self, census):
        """End the releases whose rule has held for its years running, from this census on."""
        for row in self.said.releases:
            if row.until is None:
                continue
            value = self.measure(row.until.measure, row.until.where, census)
            held = value is not None and value >= row.until.at_least
            self.memory.running[row.name] = self.memory.running.get(row.name, 0) + 1 if held else 0
            if self.memory.running[row.name] >= row.until.running:
                self.memory.ended.add(row.name)

    def order_again(self, census):
        """Order a release once more where its measure has been low for its years running."""
        for row in self.said.releases:
            rule = row.repeat
            if rule is None:
                continue
            value = self.measure(rule.measure, rule.where, census)
            low = value is not None and value <= rule.at_most
            self.memory.low[row.name] = self.memory.low.get(row.name, 0) + 1 if low else 0
            if self.memory.low[row.name] >= rule.running:
                self.memory.ordered.add((row.name, census.year + row.order_lead))

    def measure(self, name, where, census):
        """A yearly measure of some sites summed; None where it is not defined."""
        places = [s for s in self.sites if where == RIVER or s in where]

        def total(*what):
            return sum(census.tallies[s][w] for s in places for w in what)

        def ratio(top, bottom):
            return top / bottom if bottom > 0 else None

        adults = total("wild_adults", "stocked_adults")
        if name == "adults":
            return adults
        if name == "animals":
            return total("wild_animals", "stocked_animals")
        if name == "adults_per_m2":
            return total("breeders") / sum(self.said.site(s).area_m2 for s in places)
        if name == "sites_occupied":
            return sum(census.tallies[s]["wild_animals"] + census.tallies[s]["stocked_animals"] > 0
                       for s in places)
        if name == "wild_share":
            return ratio(total("wild_adults"), adults)
        if name in ("wild_adults", "stocked_adults", "females"):
            return total(name)
        if census.year == self.said.first:
            return None  # flows of the year before the first census are not known
        if name == "recruits":
            return total("recruits")
        if name == "glochidia_per_host":
            return ratio(total("glochidia_attached"), total("host_fish"))
        if name == "replacement_ratio":
            return ratio(total("reached_adult"), total("adult_deaths"))
        raise ValueError(name)
