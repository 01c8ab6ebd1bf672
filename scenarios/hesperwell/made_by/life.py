"""The hidden life of every animal of the demo study: birth, growth, marks and death (invented)."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

SITES = ("Fennel Bar", "Quillstone Riffle", "Tallow Bend", "Osprey Shoal")
STAGES = ("juvenile", "subadult", "adult")
NEVER = 10_000_000


def day(value) -> int:
    """Day number of a date written as date or ISO text."""
    if isinstance(value, str):
        value = dt.date.fromisoformat(value)
    return value.toordinal()


def growth_time(days, season) -> np.ndarray:
    """Years of growth since year 1: all of a year's growth falls in the season's months."""
    days = np.asarray(days)
    flat = np.unique(days.ravel())
    times = np.empty(flat.size)
    for i, number in enumerate(flat):
        date = dt.date.fromordinal(int(number))
        start = dt.date(date.year, season[0], 1)
        end = dt.date(date.year, season[1] + 1, 1)
        times[i] = date.year + min(max((date - start).days / (end - start).days, 0.0), 1.0)
    return times[np.searchsorted(flat, days)]


def length_on(animals: pd.DataFrame, days, truth: dict) -> np.ndarray:
    """True length in mm on the day (one for all, or one per animal)."""
    season = truth["growth"]["season"]
    age = growth_time(days, season) - growth_time(animals["born"].to_numpy(), season)
    return animals["asymptote"].to_numpy() * -np.expm1(
        -truth["growth"]["rate"] * np.maximum(age, 0)
    )


def logit(p):
    """Log odds."""
    return np.log(p / (1 - p))


def year_survival(truth: dict, rng: np.random.Generator) -> pd.DataFrame:
    """Survival of an ordinary year (index: year, columns: stage), mean and SD exactly as stated."""
    years = np.arange(2016, 2026)
    first, last = truth["survival"]["exact_over"]
    scored = (years >= first) & (years <= last)
    shared = truth["survival"]["between_stages"]
    common = rng.standard_normal(years.size)
    table = {}
    for stage in STAGES:
        own = rng.standard_normal(years.size)
        z = np.sqrt(shared) * common + np.sqrt(1 - shared) * own
        z = (z - z[scored].mean()) / z[scored].std()
        want = truth["survival"][stage]
        mean, sd = logit(want["value"]), want["year_sd"] / (want["value"] * (1 - want["value"]))
        for _ in range(60):
            rates = 1 / (1 + np.exp(-(mean + sd * z)))
            sd *= want["year_sd"] / rates[scored].std()
            mean += logit(want["value"]) - logit(rates[scored].mean())
        table[stage] = 1 / (1 + np.exp(-(mean + sd * z)))
    return pd.DataFrame(table, index=pd.Index(years, name="year"))


class Clock:
    """Months of the study and the yearly death hazard in each, by stage."""

    def __init__(self, truth: dict, survival: pd.DataFrame):
        self.truth = truth
        first, last = day(truth["first_day"]), day(truth["last_day"])
        months = pd.period_range(dt.date.fromordinal(first), dt.date.fromordinal(last), freq="M")
        self.edges = np.array([m.start_time.date().toordinal() for m in months] + [last + 1])
        self.middles = (self.edges[:-1] + self.edges[1:]) // 2
        self.hazard = -np.log(survival.loc[[m.year for m in months]].to_numpy()) / 365.25
        flood = truth["flood"]
        begin, end = day(flood["first"]), day(flood["last"]) + 1
        struck = (self.edges[:-1] >= begin) & (self.edges[1:] <= end)
        self.hazard[struck] += -np.log(flood["survival"]) / (end - begin)

    def deaths(self, animals: pd.DataFrame, rng: np.random.Generator) -> np.ndarray:
        """Day of death of each animal, `NEVER` if after the study."""
        lengths = np.column_stack([length_on(animals, int(d), self.truth) for d in self.middles])
        stage = np.searchsorted(self.truth["stage_limits_mm"], lengths, side="right")
        rate = np.take_along_axis(self.hazard[None], stage[..., None], axis=2)[..., 0]
        entry = animals["entered"].to_numpy()[:, None]
        exposed = np.clip(self.edges[None, 1:] - np.maximum(self.edges[None, :-1], entry), 0, None)
        reached = np.cumsum(rate * exposed, axis=1)
        luck = rng.exponential(size=len(animals))
        month = (reached < luck[:, None]).sum(axis=1)
        inside = month < self.middles.size
        at = np.minimum(month, self.middles.size - 1)
        row = np.arange(len(animals))
        left = (reached[row, at] - luck) / rate[row, at]
        return np.where(inside, np.ceil(self.edges[at + 1] - left), NEVER).astype(int)


def cohort(site, number, born, entered, truth, rng, **facts) -> pd.DataFrame:
    """A table of new animals; `born` and `entered` are day numbers (one, or one per animal)."""
    growth = truth["growth"]
    frame = pd.DataFrame({"site": [site] * number, "born": born, "entered": entered})
    frame["asymptote"] = rng.normal(growth["asymptote_mm"], growth["asymptote_sd_mm"], number)
    facts = {"source": "wild", "batch": "", "batch_mark": "", "tagged": False, **facts}
    return frame.assign(**facts)


def birthday(year: int, truth: dict) -> int:
    """Day number of the birthday that all animals of a year share."""
    return dt.date(year, *truth["growth"]["birthday"]).toordinal()


def residents(site: str, truth: dict, clock: Clock, rng) -> pd.DataFrame:
    """Wild animals alive when the study begins, with the ages an even population would have."""
    number = truth["sites"][site]["wild_animals"]
    ages = np.arange(1, 46)
    weight = np.where(ages <= 2, 1.0, 0.55) * 0.925**ages
    born_years = 2016 - rng.choice(ages, size=number, p=weight / weight.sum())
    born = np.array([birthday(int(y), truth) for y in born_years])
    frame = cohort(site, number, born, day(truth["first_day"]), truth, rng)
    return frame.assign(died=clock.deaths(frame, rng))


def release_losses(frame: pd.DataFrame, died: np.ndarray, truth: dict, rng) -> np.ndarray:
    """Bring forward the deaths of those that do not get over their release."""
    release = truth["release"]
    lost = rng.random(len(frame)) > frame["source"].map(release).to_numpy(float)
    early = frame["entered"].to_numpy() + rng.integers(1, release["days"] + 1, len(frame))
    return np.where(lost, np.minimum(early, died), died)


def stocked(truth: dict, clock: Clock, donors: pd.DataFrame, rng) -> pd.DataFrame:
    """All released animals; those from Osprey Shoal leave `donors` (changed in place)."""
    frames = []
    for row in truth["tagged"] + truth["untagged"]:
        date = day(row["date"])
        facts = {
            "source": row.get("source", "hatchery"),
            "batch": row["batch"],
            "batch_mark": row.get("batch_mark", f"dot {row['batch']}"),
            "tagged": row in truth["tagged"],
        }
        if facts["source"] == "hatchery":
            born = birthday(dt.date.fromordinal(date).year - row["age"], truth)
            frame = cohort(row["site"], row["number"], born, date, truth, rng, **facts)
        else:
            length = length_on(donors, date, truth)
            fit = donors.index[(length > 55) & (length < 80) & (donors["died"] > date)]
            taken = np.sort(rng.choice(fit, row["number"], replace=False))
            frame = donors.loc[taken, ["born", "asymptote"]].reset_index(drop=True)
            donors.loc[taken, "died"] = date
            frame = frame.assign(site=row["site"], entered=date, **facts)
        frames.append(
            frame.assign(died=release_losses(frame, clock.deaths(frame, rng), truth, rng))
        )
    return pd.concat(frames, ignore_index=True)


def host_density(truth: dict, site: str, year: int) -> float:
    """Freshwater drum per 100 m2."""
    table = truth["hosts"][site]
    return float(table[max(y for y in table if y <= year)])


def recruits(animals: pd.DataFrame, truth: dict, clock: Clock, rng) -> pd.DataFrame:
    """Wild young of 2016 to 2024, entered at age 1; they may breed in their turn."""
    rule = truth["recruits"]
    for year in range(2016, 2025):
        spawning = max(birthday(year, truth), day(truth["first_day"]))
        for site in SITES:
            here = animals[
                (animals["site"] == site)
                & (animals["entered"] <= spawning)
                & (animals["died"] > spawning)
            ]
            adults = (length_on(here, spawning, truth) >= truth["stage_limits_mm"][1]).sum()
            share = host_density(truth, site, year) / rule["full_hosts_per_100m2"]
            number = rng.poisson(rule["per_adult_at_full_hosts"] * share * adults)
            born, one = birthday(year, truth), birthday(year + 1, truth)
            young = cohort(site, number, born, one, truth, rng)
            if number:
                young = young.assign(died=clock.deaths(young, rng))
                animals = pd.concat([animals, young], ignore_index=True)
    return animals


def distant_tags(number: int, rng) -> list[str]:
    """15-digit tags, no two within one slip of the pen; the prefix 994 stands for no maker."""
    tags: list[str] = []
    taken: set[str] = set()
    while len(tags) < number:
        tag = f"994{rng.integers(10**10, 27 * 10**10):012d}"
        slips = {tag[:i] + "?" + tag[i + 1 :] for i in range(len(tag))}
        swaps = {tag[:i] + tag[i + 1] + tag[i] + tag[i + 2 :] for i in range(len(tag) - 1)}
        if not taken & slips and not swaps & set(tags):
            taken |= slips
            tags.append(tag)
    return tags


def lasts(chance: float, number: int, rng) -> np.ndarray:
    """Days until a mark is lost, when the chance that it sits for a year is `chance`."""
    return np.ceil(rng.exponential(-365.25 / np.log(chance), number)).astype(int)


def mark(animals: pd.DataFrame, truth: dict, rng) -> pd.DataFrame:
    """Give tags and second marks, and the day on which each mark is lost."""
    marks, number = truth["marks"], len(animals)
    tagged = animals["tagged"].to_numpy(bool)
    tag = np.full(number, "", dtype=object)
    tag[tagged] = distant_tags(int(tagged.sum()), rng)
    twice = tagged & (rng.random(number) < marks["double_marked_share"])
    twice &= animals["entered"].to_numpy() >= day("2018-01-01")
    second = np.full(number, "", dtype=object)
    second[twice] = [f"{'BGRWY'[i // 250]}{i % 250 + 1:03d}" for i in range(int(twice.sum()))]
    entered = animals["entered"].to_numpy()
    lost = {
        f"{kind}_lost": entered + lasts(marks[kind], number, rng)
        for kind in ("tag", "second_mark", "batch_mark")
    }
    bed = truth["detection"]["shell"]["years_in_bed"] * 365.25
    gone = animals["died"].to_numpy() + np.ceil(rng.exponential(bed, number)).astype(int)
    return animals.assign(tag=tag, second_mark=second, shell_gone=gone, shell_found=False, **lost)


def live(truth: dict, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """All animals of the study and the survival of every year."""
    survival = year_survival(truth, rng)
    clock = Clock(truth, survival)
    wild = pd.concat([residents(s, truth, clock, rng) for s in SITES], ignore_index=True)
    animals = pd.concat([wild, stocked(truth, clock, wild, rng)], ignore_index=True)
    return mark(recruits(animals, truth, clock, rng), truth, rng), survival
