"""Check against data: the past projected with what was released, what was seen laid over it."""

from __future__ import annotations

import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from pva.decide.effort import Quadrats
from pva.decide.outcomes import Ready, prepare
from pva.decide.past import Past, past_of
from pva.decide.seen import QUADRATS, RECAPTURES, Seen, all_seen, clumping_of, kept_share
from pva.decide.survey_verdict import surveyed
from pva.engine.run import simulate
from pva.errors import CannotCompute, Problem, PvaError
from pva.estimate.estimates import Estimates
from pva.estimate.estimates_file import read_estimates
from pva.estimate.estimates_write import write_estimates
from pva.estimate.options import Options, options_of
from pva.estimate.run import estimate_records
from pva.field import FieldRecords, Study, read_records
from pva.field.until import last_year, records_before
from pva.model.record import T_STOCKED_ADULTS, T_STOCKED_ANIMALS, T_WILD_ADULTS
from pva.results.run import Progress, seed_of
from pva.results.summary import plain
from pva.scenario.scenario import Scenario

LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
INSIDE, OUTSIDE = "inside", "outside"
_STREAM = 0x5EE_DA7A  # keeps the luck of the crews apart from other uses of a seed


@dataclass(frozen=True)
class Compared:
    """One count against its predicted distribution.

    Parameters
    ----------
    seen : Seen
    q05, q25, q50, q75, q95 : float
        Of the counts predicted.
    percentile : float
        Share of the predicted counts below the one seen, ties by half, in percent.
    verdict : {'inside', 'outside'}
        Of the 5 to 95 % band.
    held_out : bool
        Whether the estimates were made without it; only then is it a test.
    """

    seen: Seen
    q05: float
    q25: float
    q50: float
    q75: float
    q95: float
    percentile: float
    verdict: str
    held_out: bool


@dataclass(frozen=True)
class DataCheck:
    """The past as predicted and as seen.

    Parameters
    ----------
    title, digest : str
        Digest of the scenario as asked, whatever estimates are made anew for it.
    seed, draws, replicates : int
    held_out_from : int or None
        First year whose records the estimates do not know; None = the estimates know all.
    rows : tuple of Compared
    clumping : float or None
    notes, warnings : tuple of str
    """

    title: str
    digest: str
    seed: int
    draws: int
    replicates: int
    held_out_from: int | None
    rows: tuple[Compared, ...]
    clumping: float | None
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def tests(self) -> tuple[Compared, ...]:
        """Counts that the estimates do not know."""
        return tuple(r for r in self.rows if r.held_out)

    def summary(self) -> dict:
        """Plain dictionary as written to ``NAME.check-data.json``."""
        rows = []
        for row in self.rows:
            flat = asdict(row)
            rows.append(flat.pop("seen") | flat)
        fields = dict(vars(self)) | {"rows": rows}
        return plain(fields | {"held_out": len(self.tests), "held_out_inside": sum(
            r.verdict == INSIDE for r in self.tests)})


def check_data(scenario: Scenario, study: Study, *, records: FieldRecords | None = None,
               hold_out: int | None = None, known: bool = False, seed: int | None = None,
               threads: int | None = None, progress: Progress | None = None) -> DataCheck:
    """Project the past and lay what was seen over it.

    The projection begins with the animals that the scenario has at its first census, receives the
    releases of the study, meets its named bad years and no others, and is surveyed as the crews
    surveyed it. The estimates are made anew without the records of `hold_out` and later, so that
    these are a test; earlier counts helped to make the estimates and are shown beside them. No
    calibration target (recruits per adult, growth rate, glochidia per host) is among the counts.

    Parameters
    ----------
    scenario : Scenario
        Its years run from the first release to the last survey.
    study : Study
    records : FieldRecords or None
        Its clean records, where they are read already.
    hold_out : int or None
        First calendar year held out; None = the last with a visit or survey.
    known : bool
        Take the scenario's estimates as they are, though they may know every record.
    seed, threads, progress
        As in `pva.run`.

    Raises
    ------
    CannotCompute
        If the releases, bad years or areas of the study do not fit the scenario, or nothing was
        seen.
    """
    records = read_records(study) if records is None else records
    options, digest = options_of(study), scenario.digest
    held = None if known else (hold_out or last_year(records))
    if held is not None:
        scenario, estimates = _without(scenario, records, options, held)
    else:
        estimates = _as_written(scenario)
    resolved = scenario.resolved
    seed = seed_of(resolved, seed)
    past = past_of(resolved, records, options.bad_years, estimates=estimates)
    seen, notes = all_seen(records, options, estimates, resolved)
    _check(seen, resolved)
    clumping = clumping_of(records, options, sites=[s.name for s in resolved.sites],
                           before=held or resolved.last + 1)
    crew = Crew(clumping, _share_found(options), _tags_kept(estimates), _adult_survival(resolved))
    ready = prepare(past.resolved, seed=seed, threads=threads)
    predicted = predict(ready, past, seen, crew=crew, progress=progress)
    rows = tuple(compare_count(s, p, held_out=held is not None and s.year >= held)
                 for s, p in zip(seen, predicted, strict=True)
                 if s.count > 0 or p.max() > 0)  # nobody was there yet, nobody was seen
    runs = resolved.runs
    return DataCheck(resolved.title, digest, seed, runs.draws, runs.replicates, held, rows,
                     clumping, (*past.notes, *notes), (*scenario.warnings, *ready.model.warnings))


def _without(scenario: Scenario, records: FieldRecords, options: Options, year: int):
    """The scenario with estimates that do not know the records from a year on."""
    found = estimate_records(records_before(records, year), options)
    with tempfile.TemporaryDirectory() as folder:
        path = write_estimates(found, Path(folder) / "estimates.yaml")
        written = scenario.written
        if written.get("estimates"):
            try:
                scenario = Scenario.from_dict(written | {"estimates": str(path)})
            except PvaError as error:
                raise CannotCompute([_lacking(p, year) for p in error.problems]) from error
        return scenario, read_estimates(path)


def _lacking(problem: Problem, year: int) -> Problem:
    return Problem(f"{problem.what}, in the estimates made without the records of {year} and later",
                   "Hold out a later year, or give the scenario a value of its own there.",
                   done="nothing was run", code="estimates-without-year")


def _as_written(scenario: Scenario) -> Estimates:
    path = scenario.written.get("estimates")
    if not path:
        raise CannotCompute(Problem(
            "the scenario names no estimates, so that the chance of being seen is not known",
            "Name the study's estimates in the scenario, or let them be made without the last "
            "year.", done="nothing was run", code="no-estimates"))
    return read_estimates(path)


def _check(seen: list[Seen], resolved) -> None:
    if not seen:
        raise CannotCompute(Problem(
            "nothing was counted at the sites and in the years of the scenario",
            "Let its years run from the first release to the last survey.",
            done="nothing was run", code="nothing-seen"))
    dug = {s.site for s in seen if s.what == QUADRATS}
    bare = [s.name for s in resolved.sites if s.name in dug and s.area_m2 is None]
    if bare:
        raise CannotCompute(Problem(
            f"the area of {', '.join(bare)} is not known", "Write area_m2 for the sites dug.",
            done="nothing was run", code="no-area"))


def _share_found(options: Options) -> float:
    told = options.units.efficiency
    return 1.0 if told is None else told.told.value


def _tags_kept(estimates: Estimates) -> float:
    kept = estimates.rates.get("tag_retention/tag")
    return 1.0 if kept is None or kept.value is None else kept.value


def _adult_survival(resolved) -> float:
    names = [s.name for s in resolved.stages if s.adult or s.breeds] or [resolved.stages[-1].name]
    return float(np.mean([site.survival[names[-1]].value for site in resolved.sites]))


@dataclass(frozen=True)
class Crew:
    """How the crews see the animals.

    Parameters
    ----------
    clumping : float or None
        Dispersion of a quadrat's count.
    found : float
        Share of the animals in a quadrat that is found.
    tags_kept : float
        Yearly chance that a tag stays.
    survival : float
        Yearly survival of adults, for the ages of the tags.
    """

    clumping: float | None = None
    found: float = 1.0
    tags_kept: float = 1.0
    survival: float = 0.9


def predict(ready: Ready, past: Past, seen: list[Seen], *, crew: Crew,
            progress: Progress | None = None) -> list[np.ndarray]:
    """Counts that every run of the past would have given.

    Marked animals are followed in a second projection, in the same luck, in which only they were
    released. The chance of being seen is drawn anew for every parameter draw, within its doubt.

    Returns
    -------
    list of ndarray of int, shape (replicate,)
        One for every count seen.
    """
    adults = _animals(ready, T_WILD_ADULTS, T_STOCKED_ADULTS, progress=progress)
    marked = None
    if any(s.what == RECAPTURES for s in seen):
        marked = _animals(ready.with_releases(past.marked), T_STOCKED_ANIMALS)
    rng = np.random.default_rng([ready.seed, _STREAM])
    runs, names = ready.resolved.runs, [s.name for s in ready.resolved.sites]
    kept = kept_share(ready.resolved, past.marked, survival=crew.survival, kept=crew.tags_kept)
    detections: dict[tuple, np.ndarray] = {}
    found = []
    for one in seen:
        site, census = names.index(one.site), one.year - ready.resolved.first
        if one.what == QUADRATS:
            here = adults[:, census:census + 1, site:site + 1]
            found.append(surveyed(
                here, area=ready.places.area[[site]], number=one.units, rng=rng,
                quadrats=Quadrats(one.unit_m2, crew.found, crew.clumping))[:, 0])
            continue
        if one.detection not in detections:
            detections[one.detection] = np.repeat(_drawn(*one.detection, runs.draws, rng),
                                                  runs.replicates)
        chance = detections[one.detection] * kept[site, census]
        alive = np.round(marked[:, census, site]).astype(int)
        found.append(rng.binomial(alive, chance))
    return found


def _animals(ready: Ready, *tallies: int, progress: Progress | None = None) -> np.ndarray:
    """Some tallies of every site summed, shape (replicate, census, site)."""
    parts, done = [], 0
    runs = ready.resolved.runs
    for block in simulate(ready.model.plan, ready.model.draws, seed=ready.seed,
                          replicates=runs.replicates, threads=ready.threads):
        parts.append(block.tallies[..., list(tallies)].sum(axis=3))
        done += len(block.tallies)
        if progress is not None:
            progress(done, runs.draws * runs.replicates)
    return np.concatenate(parts)


def _drawn(value: float, se: float, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Chances within their doubt, normal on the logit scale."""
    if se == 0 or not 0 < value < 1:
        return np.full(draws, value)
    middle, spread = np.log(value / (1 - value)), se / (value * (1 - value))
    return 1 / (1 + np.exp(-(middle + spread * rng.standard_normal(draws))))


def compare_count(seen: Seen, predicted: np.ndarray, *, held_out: bool) -> Compared:
    """Place a count in the distribution predicted for it."""
    ends = [float(q) for q in np.quantile(predicted, LEVELS)]
    below = float((predicted < seen.count).mean() + 0.5 * (predicted == seen.count).mean())
    inside = ends[0] <= seen.count <= ends[-1]
    return Compared(seen, *ends, percentile=100 * below, verdict=INSIDE if inside else OUTSIDE,
                    held_out=held_out)
