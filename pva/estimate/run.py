"""The whole of estimation: a study in, one labelled set of estimates out."""

from __future__ import annotations

import os
from dataclasses import dataclass, field

import pandas as pd

from pva.errors import MeaningError, Problem
from pva.estimate.batch_marks import batch_bounds, batch_rates
from pva.estimate.bed import Bed, estimate_bed
from pva.estimate.estimates import Estimate, Estimates
from pva.estimate.host_fish import Hosts, estimate_hosts
from pva.estimate.known_fate import KnownFate, known_fates
from pva.estimate.levels import entry_level
from pva.estimate.options import Options, options_of
from pva.estimate.refusal import Refusal
from pva.estimate.species import SpeciesResult, estimate_species, follow_study
from pva.estimate.summary import StudySummary, summarise
from pva.estimate.to_estimates import covariance_of, rates_of
from pva.estimate.visit_by_visit import visit_by_visit
from pva.field import read_records, read_study
from pva.field.records import FieldRecords
from pva.field.study import Study
from pva.files.near_names import the_nearest_is


@dataclass(frozen=True)
class StudyEstimates(Estimates):
    """Estimates with everything behind them.

    Parameters
    ----------
    by_species : dict of str to SpeciesResult
    bed : Bed
    hosts : Hosts
    records : FieldRecords
    level : int
        What the records allow: 0 a plan, 1 batches and quadrats, 2 tags and two visits, 3 tags,
        three visits and lengths, 4 double marks, shells, repeat passes or hosts besides.
    refused : tuple of Refusal
        What could not be estimated, and why.
    tables : dict of str to DataFrame
        For figures: ``survival_by_interval``, ``increments``, ``growth_curve``, ``units``,
        ``unmarked``, ``fit_tables``, ``visit_by_visit``, ``batch_bounds``.
    known_fates : tuple of KnownFate
        Releases of which every animal was accounted for at every visit.
    """

    by_species: dict[str, SpeciesResult] = field(default_factory=dict)
    bed: Bed = Bed()
    hosts: Hosts = Hosts()
    records: FieldRecords | None = None
    level: int = 0
    refused: tuple[Refusal, ...] = ()
    tables: dict[str, pd.DataFrame] = field(default_factory=dict)
    known_fates: tuple[KnownFate, ...] = ()

    def summary(self) -> dict:
        """What `pva estimate --json` prints; null (None) where a thing does not apply."""
        return self._summary.as_dict()

    @property
    def _summary(self) -> StudySummary:
        return summarise(self)


def estimate(study: str | os.PathLike | Study, *, records: FieldRecords | None = None,
             options: Options | None = None, model: str | None = None) -> StudyEstimates:
    """Estimate everything that the field records of a study allow.

    Parameters
    ----------
    study : str, Path or Study
        A folder that holds study.yaml, that file, or a study already read.
    records : FieldRecords, optional
        Records already read.
    options : Options, optional
        In place of what the study says.
    model : str, optional
        Name of a survival model (as in the model table) to report in place of the best.

    Returns
    -------
    StudyEstimates

    Raises
    ------
    FormError, MeaningError, DataError
        The study or its tables cannot be read, or there is no model of that name.
    """
    study = study if isinstance(study, Study) else read_study(study)
    records = read_records(study) if records is None else records
    return estimate_records(records, options or options_of(study), model=model)


def estimate_records(records: FieldRecords, options: Options, *,
                     model: str | None = None) -> StudyEstimates:
    """Estimate from clean records.

    Parameters
    ----------
    records : FieldRecords
    options : Options
    model : str, optional
        See `estimate`.
    """
    following = follow_study(records, options)
    names = _species(records, options)
    results = {name: estimate_species(records, name, options, following, model) for name in names}
    _check_model(model, results)
    alone = len(results) == 1
    first = next(iter(results), None)
    bed = estimate_bed(records, options, species=first if alone else None,
                       growth=results[first].growth if alone else None,
                       retention=results[first].retention if alone else None)
    rates: dict[str, Estimate] = {}
    for name, result in results.items():
        rates |= rates_of(result, "" if alone else name)
    hosts = estimate_hosts(records, options.units)
    batches = batch_bounds(records, options.areas)
    rates |= batch_rates(batches) | bed.density | bed.ratios | hosts.rates
    refused = [Refusal(r.what if alone else f"{r.what} of {name}", r.why, r.needed)
               for name, result in results.items() for r in result.refused]
    notes = [n if alone else f"{name}: {n}" for name, result in results.items()
             for n in result.notes]
    return StudyEstimates(
        rates=rates, abundance=bed.abundance, covariance=covariance_of(results, rates, alone),
        title=options.title, species=", ".join(names),
        notes=(*_followed_notes(following, results), *notes, *bed.notes, *hosts.notes),
        by_species=results, bed=bed, hosts=hosts, records=records,
        refused=(*refused, *bed.refused, *hosts.refused),
        level=entry_level(records, following), tables=_tables(results, bed) | {
            "visit_by_visit": visit_by_visit(following, records), "batch_bounds": batches},
        known_fates=tuple(known_fates(following.steps)),
    )


def _check_model(model: str | None, results: dict[str, SpeciesResult]) -> None:
    known = [m.name for r in results.values() for m in r.models]
    if model is None or model in known:
        return
    raise MeaningError(Problem(
        f"no model fitted to this study is called `{model}`{the_nearest_is(model, known)}",
        "Take a name from the model table of `pva estimate`.", done="Nothing was reported.",
        code="unknown-model"))


def _followed_notes(following, results: dict[str, SpeciesResult]) -> tuple[str, ...]:
    """What was done with records that fit no history, once for the whole study."""
    told = [n for r in results.values() for n in r.following.notes]
    return tuple(dict.fromkeys([*following.notes, *told]))


def _species(records: FieldRecords, options: Options) -> list[str]:
    """Species with marked animals, in the order of the study."""
    present = records.releases.loc[records.releases["animal"].notna(), "species"].dropna().unique()
    ordered = [s for s in options.species if s in set(present)]
    return ordered + sorted(set(present) - set(ordered))


def _tables(results: dict[str, SpeciesResult], bed: Bed) -> dict[str, pd.DataFrame]:
    """Tables for the figures, species in a column."""
    parts: dict[str, list[pd.DataFrame]] = {}
    for name, result in results.items():
        for what, table in _of_species(result).items():
            parts.setdefault(what, []).append(table.assign(species=name))
    tables = {what: pd.concat(found, ignore_index=True) for what, found in parts.items()}
    return tables | {"units": bed.counts, "unmarked": bed.judged}


def _of_species(result: SpeciesResult) -> dict[str, pd.DataFrame]:
    out = {}
    if result.rates is not None:
        out["survival_by_interval"] = pd.DataFrame(result.rates.by_interval)
    if result.test is not None:
        out["fit_tables"] = result.test.tables
    if result.growth is not None:
        table = result.following.lengths.sort_values(["animal", "day"])
        table = table.assign(before_mm=table.groupby("animal")["length_mm"].shift(),
                             before_day=table.groupby("animal")["day"].shift())
        table = table.dropna(subset=["before_mm"])
        out["increments"] = pd.DataFrame({
            "animal": table["animal"], "length_mm": table["before_mm"],
            "increment_mm": table["length_mm"] - table["before_mm"],
            "years": (table["day"] - table["before_day"]) / 365.25}).reset_index(drop=True)
        ages = pd.Series(range(0, 61)) / 2
        out["growth_curve"] = pd.DataFrame({
            "years": ages, "length_mm": result.growth.length_after(0.0, ages)})
    return out
