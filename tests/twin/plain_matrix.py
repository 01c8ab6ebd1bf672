"""Stable shares and calibrations from the scenario, at best values; used before the first census.

Animals live in (stage, age) classes: a stage of fixed years has one a year, any other has one.
"""

import math
from dataclasses import dataclass

import numpy as np
from plain_rates import best, drawn_mean

from pva.model.long_run import growth_rate, stable_stages
from pva.scenario.resolved import AFTER, Calibration

FEW = 1e-9  # adults per m2 that stand for "few"


@dataclass(frozen=True)
class Class:
    """One class of animals in life order; `onward` is where survivors of fixed years go."""

    name: str
    stage: str
    age: int
    breeds: bool
    adult: bool
    fixed: bool
    onward: str | None = None


def classes_of(resolved):
    """Classes in life order."""
    plain = []
    for stage in resolved.stages:
        for age in range(1, (stage.years or 1) + 1):
            name = stage.name if (stage.years or 1) == 1 else f"{stage.name}, year {age}"
            plain.append(Class(name, stage.name, age, stage.breeds, stage.adult,
                               stage.years is not None))
    linked = []
    for i, one in enumerate(plain):
        onward = plain[i + 1].name if one.fixed and i + 1 < len(plain) else None
        linked.append(Class(one.name, one.stage, one.age, one.breeds, one.adult, one.fixed, onward))
    return linked


def first_class(classes, stage):
    """The class an animal enters a stage by."""
    return next(c for c in classes if c.stage == stage)


def fecundity(resolved_stages, recruitment, stage_name):
    """What multiplies the glochidia rate in a stage: 1, or the mean power over its lengths."""
    if recruitment.power is None:
        return 1.0
    low, high = next(s for s in resolved_stages if s.name == stage_name).length_mm
    power = recruitment.power
    return (high ** (power + 1) - low ** (power + 1)) / ((power + 1) * (high - low))


@dataclass
class Life:
    """One life cycle as numbers at best values: of a site, or of the base file."""

    stages: tuple
    classes: list
    survival: dict
    growth: dict
    recruitment: object
    census: str

    def lives_and_moves(self):
        """U, [to][from]."""
        place = {c.name: i for i, c in enumerate(self.classes)}
        u = np.zeros((len(place), len(place)))
        for one in self.classes:
            alive, here = best(self.survival[one.stage]), place[one.name]
            if one.fixed:
                if one.onward is not None:
                    u[place[one.onward], here] = alive
                continue
            staying = 1.0
            for to, rate in self.growth.get(one.stage, {}).items():
                share = min(best(rate), staying)
                u[place[first_class(self.classes, to).name], here] += alive * share
                staying -= share
            u[here, here] += alive * staying
        return u

    def projection(self, f):
        """A from F."""
        u = self.lives_and_moves()
        return (np.eye(len(u)) + f) @ u if self.census == AFTER else u + f

    def into_first(self, young):
        """F whose row of the class entered holds `young` per animal of each class."""
        f = np.zeros((len(self.classes), len(self.classes)))
        enters = first_class(self.classes, self.recruitment.enters)
        f[self.classes.index(enters)] = young
        return f

    def breeding_shares(self, f=None):
        """Shares of classes among breeding animals: stable ones, or even without an F."""
        breeds = np.array([c.breeds for c in self.classes], float)
        shares = breeds if f is None else stable_stages(self.projection(f)) * breeds
        return shares / shares.sum() if shares.sum() > 0 else breeds / breeds.sum()

    def output(self):
        """Glochidia per animal of each class, everything before fertilisation."""
        young = self.recruitment
        per_animal = best(young.females) * best(young.gravid) * best(young.glochidia)
        return np.array([per_animal * fecundity(self.stages, young, c.stage) if c.breeds else 0.0
                         for c in self.classes])


def juveniles_and_load(recruitment, glochidia, attachment, densities, area):
    """Metamorphosed juveniles and glochidia carried per fish, no immunity."""
    meeting = [best(h.contact) * d for h, d in zip(recruitment.hosts, densities, strict=True)]
    juveniles, carried, fish = 0.0, 0.0, 0.0
    for host, density, meets in zip(recruitment.hosts, densities, meeting, strict=True):
        count = density * area / 100
        if count <= 0 or sum(meeting) <= 0:
            continue
        share = -math.expm1(-sum(meeting)) * meets / sum(meeting)
        load = glochidia * attachment * share / count
        if host.capacity is not None:
            capacity = best(host.capacity)
            load = capacity * -math.expm1(-load / capacity)
        juveniles += count * load * best(host.suitability)
        carried += count * load
        fish += count
    return juveniles, carried / fish if fish else 0.0


def fertilised(form, density):
    """Share of eggs fertilised, D mature animals of both sexes per m2."""
    if form is None:
        return 1.0
    if density <= 0:
        return 0.0
    kind, scale = form
    return density / (density + scale) if kind == "half_density" else -math.expm1(-density / scale)


def split(total, like):
    """A total host density in the proportions of `like`."""
    if sum(like) > 0:
        return [total * x / sum(like) for x in like]
    return [total / len(like)] * len(like)


# calibrations: average at the stated state, base-file values, that draw's target and attachment


def base_life(resolved):
    base = resolved.base
    return Life(base.stages, classes_of(base), base.survival, base.growth, base.recruitment,
                base.census)


def shares_at_best(resolved, site):
    """Shares among breeding animals at which calibrations are solved, in every draw."""
    life, young = base_life(resolved), site.recruitment
    if isinstance(young.settlement, Calibration):
        per_adult = best(young.settlement.rate)
        if young.settlement.target == "growth_rate":
            per_adult = recruits_for_growth(life, per_adult)
        return life.breeding_shares(average_f(life, per_adult))
    area, adults = 1.0, young.attachment.adults_per_m2
    like = [best(h.density) for h in resolved.base.first_site_hosts]
    densities = split(young.attachment.hosts_per_100m2, like)
    shares = life.breeding_shares()
    for _ in range(200):
        attachment = solve_attachment(resolved, young.attachment, best(young.attachment.rate),
                                      shares)
        released = float(life.output() @ shares) * adults * fertilised(
            life.recruitment.fertilised, adults)
        juveniles, _ = juveniles_and_load(life.recruitment, released, attachment, densities, area)
        new = life.breeding_shares(average_f(life, best(young.settlement) * juveniles / adults))
        if np.abs(new - shares).max() < 1e-12:
            break
        shares = new
    return shares


def recruits_for_growth(life, target):
    """Recruits per adult at which the base life cycle grows at a rate, by bisection."""
    low, high = 0.0, 1e6
    while high - low > 1e-15 * high:
        middle = (low + high) / 2
        if middle in (low, high):
            break
        grown = growth_rate(life.projection(average_f(life, middle)))
        low, high = (middle, high) if grown < target else (low, middle)
    return (low + high) / 2


def solve_attachment(resolved, calibration, target, shares):
    """Attachment at which fish carry `target` glochidia on average, by bisection."""
    life, area = base_life(resolved), 1.0
    adults = calibration.adults_per_m2 * area
    released = float(life.output() @ shares) * adults
    released *= fertilised(life.recruitment.fertilised, calibration.adults_per_m2)
    like = [best(h.density) for h in resolved.base.first_site_hosts]
    densities = split(calibration.hosts_per_100m2, like)
    low, high = 0.0, 1.0
    if juveniles_and_load(life.recruitment, released, 1.0, densities, area)[1] < target:
        return 1.0
    while high - low > 1e-15 * high:
        middle = (low + high) / 2
        if middle in (low, high):
            break
        carried = juveniles_and_load(life.recruitment, released, middle, densities, area)[1]
        low, high = (middle, high) if carried < target else (low, middle)
    return high


def solve_settlement(resolved, calibration, attachment, target, shares):
    """Settlement at which recruits per adult (or growth) are on target, at most 1."""
    life, area = base_life(resolved), 1.0
    per_adult = target
    if calibration.target == "growth_rate":
        per_adult = recruits_for_growth(life, target)
    adults = calibration.adults_per_m2 * area
    released = float(life.output() @ shares) * adults
    released *= fertilised(life.recruitment.fertilised, calibration.adults_per_m2)
    like = [best(h.density) for h in resolved.base.first_site_hosts]
    densities = split(calibration.hosts_per_100m2, like)
    juveniles, _ = juveniles_and_load(life.recruitment, released, attachment, densities, area)
    return min(1.0, per_adult * adults / juveniles)


def average_f(life, per_adult):
    """F with `per_adult` young per breeding animal on average over its own stable shares."""
    output, shares = life.output(), life.breeding_shares()
    for _ in range(500):
        f = life.into_first(per_adult * output / float(output @ shares))
        new = life.breeding_shares(f)
        if np.abs(new - shares).max() < 1e-15:
            break
        shares = new
    return f


def attachment_and_settlement(resolved, site, table, draw):
    """The two calibrated numbers of a draw (None = not calibrated); `table` None = best values."""
    young = site.recruitment
    attachment, settlement = young.attachment, young.settlement

    def number(rate):
        return best(rate) if table is None else drawn_mean(rate, table, draw)

    solved = None
    if isinstance(attachment, Calibration):
        solved = solve_attachment(resolved, attachment, number(attachment.rate),
                                  shares_at_best(resolved, site))
    if not isinstance(settlement, Calibration):
        return solved, None
    used = number(attachment) if solved is None else solved
    return solved, solve_settlement(resolved, settlement, used, number(settlement.rate),
                                    shares_at_best(resolved, site))


# start numbers


def stable_shares(resolved, site):
    """Stable shares of classes at a site, at best values."""
    classes = classes_of(resolved)
    life = Life(resolved.stages, classes, site.survival, site.growth, site.recruitment,
                resolved.census)
    f = recruits_matrix(resolved, site, life)
    a = life.projection(f)
    return stable_stages(a) if a.any() else np.full(len(a), 1 / len(a))


def recruits_matrix(resolved, site, life):
    """F at a site: linear, or the chain at its calibration densities, else few adults."""
    young, classes = site.recruitment, life.classes
    f = np.zeros((len(classes), len(classes)))
    if young.form == "per_adult":
        return life.into_first([best(young.per_adult) if c.breeds else 0.0 for c in classes])
    if young.form == "entries":
        for (to, parent), rate in young.entries.items():
            row = classes.index(first_class(classes, to))
            for i, c in enumerate(classes):
                if c.stage == parent:
                    f[row, i] += best(rate)
        return f
    solved, settled = attachment_and_settlement(resolved, site, None, 0)
    attachment = best(young.attachment) if solved is None else solved
    settlement = best(young.settlement) if settled is None else settled
    densities, adults = [best(h.density) for h in site.hosts], FEW
    for calibration in (young.settlement, young.attachment):
        if isinstance(calibration, Calibration):
            like = [best(h.density) for h in resolved.base.first_site_hosts]
            densities = split(calibration.hosts_per_100m2, like)
            adults = calibration.adults_per_m2
            break
    output, shares = life.output(), life.breeding_shares()
    if output.sum() == 0:
        return f
    for _ in range(500):
        released = float(output @ shares) * adults * fertilised(young.fertilised, adults)
        juveniles, _ = juveniles_and_load(young, released, attachment, densities, 1.0)
        f = life.into_first(settlement * juveniles * output / (float(output @ shares) * adults))
        new = life.breeding_shares(f) if adults != FEW else shares
        if np.abs(new - shares).max() < 1e-15:
            break
        shares = new
    return f


def spread_over_classes(total, shares, whole):
    """A total spread by shares, whole animals by largest remainder."""
    if not whole:
        return [total * w for w in shares]
    number = math.floor(total + 0.5)
    counts = [math.floor(number * w) for w in shares]
    by_remainder = sorted(range(len(shares)), key=lambda i: counts[i] - number * shares[i])
    for i in by_remainder[: number - sum(counts)]:
        counts[i] += 1
    return counts


def start_numbers(resolved, site, table, draw):
    """Wild animals of a site at the first census, {class name: n}."""
    classes, shares = classes_of(resolved), None
    found = {c.name: 0 for c in classes}
    for stage, rate in site.start.numbers.items():
        here = [c for c in classes if stage in ("animals", c.stage)]
        total = drawn_mean(rate, table, draw)
        weights = [1.0]
        if len(here) > 1:
            shares = stable_shares(resolved, site) if shares is None else shares
            weights = [float(shares[classes.index(c)]) for c in here]
            weights = [w / sum(weights) for w in weights] if sum(weights) > 0 else [
                1 / len(here)] * len(here)
        numbers = spread_over_classes(total, weights, resolved.chance.individuals)
        for one, n in zip(here, numbers, strict=True):
            found[one.name] += n
    return found
