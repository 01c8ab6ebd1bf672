"""Writes the page of published cases: what was published, and what the package gives.

Run from the top of the project: ``python docs/make_checks.py``. Cases and their sources stand in
shared/checks; a test fails where the page and this script differ.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import numpy as np
from scipy.special import expit

from pva.estimate.density import negative_binomial
from pva.estimate.designs import (
    Stratum,
    allocation,
    double_ratio,
    simple,
    stratified,
    systematic,
)
from pva.estimate.fit import Design, fit
from pva.estimate.histories import from_steps, from_table
from pva.estimate.known_fate import compare_fates, known_fate_survival
from pva.estimate.length_at_age import fit_length_at_age
from pva.estimate.stage_duration import consistent_growth_rate, stage_duration_shares
from pva.estimate.survey_size import (
    quadrats_for_precision,
    quadrats_for_precision_short,
    quadrats_to_find_one,
)
from pva.estimate.visit_by_visit import Sums, open_population
from pva.estimate.year_variance import year_variance
from pva.files import read_yaml, shipped, write_text_atomic
from pva.model.analysis import analyse, small_noise_log_growth
from pva.model.closed_forms import (
    ceiling_chain,
    chain_mean_years,
    chain_reaches_by_year,
    extinction_by_year,
    extinction_ever_from_one,
    moments,
)
from pva.model.equilibria import (
    beverton_holt_adults,
    fertilisation_threshold,
    host_limited_adults,
    ricker_adults,
)
from pva.model.record import TALLIES
from pva.results.measures import Places, measure
from pva.scenario.resolved import Genetics

DOCS = Path(__file__).resolve().parent
MOST_DECIMALS = 7  # beyond them the last digit may differ from machine to machine
Row = tuple[str, float, float]  # what, published, from the package


def case(name: str) -> dict:
    """A case of shared/checks."""
    return read_yaml(shipped(f"shared/checks/{name}.yaml"))[0]


def _published_matrix(name: str, *keys: str) -> Iterator[Row]:
    known = case(name)
    matrix = np.array(known["matrix"], float)
    young = np.zeros_like(matrix)
    for row, column in known["recruitment_entries"]:
        young[row, column] = matrix[row, column]
    found = analyse(matrix - young, young)
    for key in keys:
        attribute = {"generation_years_from_net_reproduction":
                     "generation_time_from_replacement_years"}.get(key, key)
        yield key.replace("_", " "), known[key], getattr(found, attribute)


def loggerhead() -> Iterator[Row]:
    return _published_matrix("loggerhead", "growth_rate", "damping_ratio", "net_reproductive_rate",
                             "generation_years_from_net_reproduction")


def killer_whale() -> Iterator[Row]:
    return _published_matrix("killer_whale", "growth_rate", "net_reproductive_rate",
                             "damping_ratio")


def teasel() -> Iterator[Row]:
    return _published_matrix("teasel", "growth_rate", "net_reproductive_rate")


def desert_tortoise() -> Iterator[Row]:
    return _published_matrix("desert_tortoise", "growth_rate", "keyfitz_entropy")


def identities() -> Iterator[Row]:
    known = case("identities")["constant_survival"]
    found = analyse(np.array([[known["survival"]]]), np.array([[0.05]]))
    yield "life expectancy, years", known["life_expectancy"], found.life_expectancy_years[0]


def branching_single_type() -> Iterator[Row]:
    known = case("branching_single_type")["poisson"]
    for mean in ("1.5", "2"):
        found = extinction_ever_from_one(np.zeros((1, 1)), np.array([[float(mean)]]))[0]
        yield f"chance to die out, {mean} young on average", known[f"mean_{mean}_ever"], found


def branching_three_stage() -> Iterator[Row]:
    known = case("branching_three_stage")
    rule = known["rule"]
    u, f, start = (np.array(rule[k]) for k in ("survival_and_growth", "recruitment", "start"))
    gone = extinction_by_year(u, f, start=start, years=50)
    yield "extinct by year 50", known["extinct_by"][50], gone[50]
    total = moments(u, f, start=start, years=50)
    yield "mean of all animals, year 50", known["total"][50]["mean"], total.total_mean[50]
    yield ("variance of all animals, year 50", known["total"][50]["variance"],
           total.total_variance[50])


def ceiling_chain_case() -> Iterator[Row]:
    known = case("ceiling_chain")
    rule = known["rule"]
    chain = ceiling_chain(rule["survival"], rule["recruits_per_animal"], ceiling=rule["ceiling"])
    gone = chain_reaches_by_year(chain, start=rule["start"], at_or_below=0, years=100)
    yield "extinct by year 100", known["extinct_by"][-1], gone[100]
    yield ("mean years to extinction from 10", known["mean_years_to_extinction"]["from_10"],
           chain_mean_years(chain)[10])


def limits() -> Iterator[Row]:
    known = case("limits")
    ricker, crowded = known["ricker"], known["beverton_holt"]
    yield ("Ricker, animals at rest", ricker["equilibrium"],
           ricker_adults(ricker["recruits_per_adult"], crowding_adults=1 / ricker["crowding"]))
    yield ("Beverton-Holt, animals at rest", crowded["equilibrium"], beverton_holt_adults(
        crowded["recruits_per_adult"], crowding_adults=1 / crowded["crowding"]))
    hosts, mates = known["hosts_saturated"], known["fertilisation_threshold"]
    yield "adults at rest, hosts full", hosts["contacts"][0]["equilibrium"], host_limited_adults(
        adult_years=1 / (1 - hosts["survival"]), glochidia_per_adult=hosts["glochidia_per_adult"],
        attached_share=hosts["contacts"][0]["contact"] * hosts["capacity"],
        capacity=hosts["capacity"], hosts=hosts["hosts"], settled_share=hosts["settled"])
    yield "density below which mates are lacking", mates["threshold"], fertilisation_threshold(
        mates["recruits_per_adult"] / (1 - mates["survival"]), scale=mates["scale"])


def stochastic_growth() -> Iterator[Row]:
    known = case("stochastic_growth")
    good, bad = (np.array(known["rule"]["growth_entries"], float) for _ in range(2))
    for matrix, kind in ((good, "good"), (bad, "bad")):
        rates = known["rule"][kind]
        matrix[2, 2], matrix[0, 2] = rates["adult_survival"], rates["recruitment"]
    half = (good - bad)[None] / 2
    for row in known["years"]:
        found = small_noise_log_growth((good + bad) / 2, carried=half,
                                       carry_over=2 * row["same_again"] - 1)
        yield f"small noise, year like the last {row['same_again']:g}", row["small_noise"], found


def genetics() -> Iterator[Row]:
    for row in case("genetics")["kept"]:
        tallies = np.zeros((1, row["generations"] + 1, 1, len(TALLIES)))
        tallies[..., TALLIES.index("wild_adults")] = row["effective"]
        tallies[..., TALLIES.index("wild_animals")] = row["effective"]
        places = Places(np.ones(1), Genetics(ne_over_n=1, founders=1e12), generation_years=1)
        yield (f"heterozygosity kept, Ne {row['effective']}, {row['generations']} generations",
               row["kept"], measure("heterozygosity", tallies, places)[0, -1])


def process_variance() -> Iterator[Row]:
    known = case("process_variance")
    found = year_variance(known["estimates"], np.diag(known["sampling_variances"]))
    yield ("SD between true values",
           known["process_sd"]["weighted_residuals_equal_degrees_of_freedom"],
           np.sqrt(found.variance))
    yield "mean", known["mean"], found.mean


def mites() -> Iterator[Row]:
    known = case("mites")
    counts = np.repeat(known["animals_per_unit"], known["units"])
    yield ("dispersion k", known["dispersion_maximum_likelihood"],
           negative_binomial(counts, np.ones(counts.size))[1])


def survey_size() -> Iterator[Row]:
    known = case("survey_size")
    precision, law = known["precision"], known["quadrats_for_precision"][1]
    yield ("quadrats for a precision of 0.2 at 4 mussels a quadrat, short form", law["short_form"],
           quadrats_for_precision_short(law["mean_per_quadrat"], precision=precision))
    yield ("the same by the variance law", law["from_variance_law"],
           quadrats_for_precision(law["mean_per_quadrat"], precision=precision))
    one = known["at_least_one"]
    yield ("quadrats that find at least one with chance 0.95", one["quadrats"],
           quadrats_to_find_one(one["density_per_m2"], quadrat_m2=one["quadrat_m2"],
                                chance=one["chance"]))


def strata_hours() -> Iterator[Row]:
    known = case("strata_hours")
    found = stratified([Stratum(np.array(s["values"]), np.ones(len(s["values"])), s["units"])
                        for s in known["strata"]])
    units = sum(s["units"] for s in known["strata"])
    yield "mean", known["mean"], found.value
    yield "variance of the mean", known["variance"], found.variance
    yield "bound, two standard errors", known["bound"], 2 * found.se
    yield "total", known["total"], units * found.value


def allocation_case() -> Iterator[Row]:
    known = case("allocation")
    shares = allocation(known["units"], known["units_in_stratum"], known["spread"],
                        costs=known["cost"])
    for i, share in enumerate(known["shares"]):
        yield f"units for stratum {i + 1} of {known['units']}", share, shares[i]


def city_ratio() -> Iterator[Row]:
    known = case("city_ratio")
    found = simple([known["counted"]], [known["size"]]).value * known["size_of_all"]
    yield "total by the ratio", known["total_by_ratio"], found


def systematic_starts() -> Iterator[Row]:
    known = case("systematic_starts")
    totals, drawn = known["totals_by_start"], known["starts_drawn"]
    found = [systematic([totals[i] for i in one], np.ones(drawn), one, possible=len(totals))
             for one in combinations(range(len(totals)), drawn)]
    yield "mean of the estimated total", known["total"], len(totals) * np.mean(
        [f.value for f in found])
    yield "variance of the estimated total", known["variance"], len(totals) ** 2 * np.var(
        [f.value for f in found])
    yield "mean of its estimate", known["variance"], len(totals) ** 2 * np.mean(
        [f.variance for f in found])


def double_sampling() -> Iterator[Row]:
    known = case("double_sampling")
    surface, counts = np.array(known["surface"]), np.array(known["counts"])
    found = []
    for seen in combinations(range(surface.size), known["looked_over"]):
        own = list(seen)
        for dug in combinations(range(len(own)), known["dug"]):
            found.append(double_ratio(surface[own], 1.0, np.isin(range(len(own)), dug),
                                      counts=counts[own]).value)
    yield "expectation over 90 outcomes", known["expectation"], np.mean(found)
    yield "variance over 90 outcomes", known["variance"], np.var(found)


def dipper() -> Iterator[Row]:
    known = case("dipper")
    with shipped("shared/checks/" + known["histories"]).open(newline="") as handle:
        rows = [row for row in csv.reader(handle) if row and not row[0].startswith("#")]
    histories = from_table(np.array([[int(x) for x in row[:7]] for row in rows[1:]]))
    for name, survival in (("constant", np.ones((6, 1))), ("year", np.eye(6))):
        model = next(m for m in known["models"] if m["survival_by"] == name
                     and m["detection_by"] == "constant")
        found = fit(histories, Design(survival=survival, detection=np.ones((6, 1))))
        said = model["name"]
        yield f"{said}: -2 log likelihood", model["minus_two_log_likelihood"], -2 * found.loglik
        yield f"{said}: survival", model["survival"][0], expit(found.beta[0])
        yield f"{said}: detection", model["detection"][0], expit(found.beta[survival.shape[1]])


def meadow_voles() -> Iterator[Row]:
    known = case("meadow_voles")
    with shipped("shared/checks/" + known["histories"]).open(newline="") as handle:
        days = np.array([[int(x) for x in row] for row in csv.reader(handle)])
    joined = known["months"]["occasions_joined"]
    months = days.reshape(len(days), -1, joined).max(axis=2)
    for name, table in (("days", days), ("months", months)):
        one = np.ones((table.shape[1] - 1, 1))
        found = fit(from_table(table), Design(survival=one, detection=one))
        yield (f"by {name}: -2 log likelihood", known[name]["minus_two_log_likelihood"],
               -2 * found.loglik)
        yield f"by {name}: survival", known[name]["survival"], expit(found.beta[0])
        yield f"by {name}: detection", known[name]["detection"], expit(found.beta[1])


def joint_live_dead() -> Iterator[Row]:
    known = case("joint_live_dead")
    with shipped("shared/checks/" + known["data"]).open(newline="") as handle:
        rows = [[int(x) for x in row] for row in list(csv.reader(handle))[1:]]
    follow, seen = [], []
    for history in (row[:-1] for row in rows for _ in range(row[-1])):
        animal = follow[-1] + 1 if follow else 0
        after = history[history.index(1) + 1 :]
        after = after[: after.index(2) + 1] if 2 in after else after
        follow += [animal] * len(after)
        seen += [{1: 1, 2: 2, 3: 0}[what] for what in after]
    zero, none, one = np.zeros(len(seen), int), np.full(len(seen), -1), np.ones((1, 1))
    rows = {"survival": zero, "release": none, "event": none, "detection": zero, "shell": zero}
    found = fit(from_steps(follow, np.ones(len(seen)), rows, np.ones(len(seen)), np.array(seen),
                           shell_loss=np.inf),
                Design(survival=one, detection=one, shell=one, staying=one))
    yield ("-2 log likelihood", known["minus_two_log_likelihood"], -2 * found.loglik)
    value = expit(found.beta)
    se = np.sqrt(np.diag(found.covariance)) * value * (1 - value)
    for i, name in enumerate(("survival", "detection", "finding_a_dead_animal", "staying")):
        yield name.replace("_", " "), known[name]["value"], value[i]
        yield f"{name.replace('_', ' ')}, SE", known[name]["se"], se[i]


def capsids() -> Iterator[Row]:
    known = case("capsids")
    with shipped("shared/checks/" + known["data"]).open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    columns = ("caught", "released", "marked", "seen_again", "seen_before_and_after_not_then")
    table = open_population(Sums(*(np.array([float(r[c] or "nan") for r in rows])
                                   for c in columns)))
    for key, sample in (("survival", 2), ("survival", 8), ("alive", 2), ("alive", 8),
                        ("joining", 8)):
        published = known[key]["published"][sample - known[key]["first_sample"]]
        yield f"{key}, sample {sample}", published, table[key][sample - 1]


def remission_times() -> Iterator[Row]:
    known = case("remission_times")
    treated, placebo = (known_fate_survival(
        [float(t.rstrip("+")) for t in known[key]], [not t.endswith("+") for t in known[key]])
        for key in ("times", "placebo_times"))
    for i in (0, 3, 6):
        yield f"survival to week {known['weeks'][i]}", known["share"][i], treated.table[
            "survival"][i]
    yield "log-rank chi-square", known["log_rank_chi_square"], compare_fates(treated, placebo)[0]


def dugongs() -> Iterator[Row]:
    known = case("dugongs")
    with shipped("shared/checks/" + known["data"]).open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    told = fit_length_at_age([float(r["age"]) for r in rows], [float(r["length"]) for r in rows])
    fitted = known["least_squares"]
    yield "asymptote, m", fitted["asymptote"], told.asymptote_mm
    yield "growth rate, per year", fitted["rate_per_year"], told.rate
    yield "SD about the curve, m", fitted["residual_sd"], told.residual_sd_mm


def stage_duration() -> Iterator[Row]:
    known = case("stage_duration")
    survival, years = np.array(known["annual_survival"]), known["duration_years"]
    moving = stage_duration_shares(survival, years)
    names = ("small juveniles", "large juveniles", "subadults", "mature females")
    for name, stay, found in zip(names, known["stay"], survival * (1 - moving), strict=True):
        yield f"{name}: live and stay", stay, found
    for name, move, found in zip(names, known["move_on"], survival * moving, strict=False):
        yield f"{name}: live and move on", move, found
    matrix = np.array(case("loggerhead")["matrix"], float)

    def at(growth_rate: float) -> np.ndarray:
        moving = stage_duration_shares(survival, years, growth_rate)
        for stage, s, m in zip(known["stages_counted_from_0"], survival, moving, strict=True):
            matrix[stage, stage] = s * (1 - m)
            if stage + 1 < len(matrix):
                matrix[stage + 1, stage] = s * m
        return matrix

    yield ("growth rate, with ages as that growth rate has them",
           known["growth_rate_when_iterated"], consistent_growth_rate(at))


CASES = {
    "loggerhead": loggerhead, "killer_whale": killer_whale, "teasel": teasel,
    "desert_tortoise": desert_tortoise, "identities": identities,
    "branching_single_type": branching_single_type,
    "branching_three_stage": branching_three_stage, "ceiling_chain": ceiling_chain_case,
    "limits": limits, "stochastic_growth": stochastic_growth, "dipper": dipper,
    "meadow_voles": meadow_voles, "joint_live_dead": joint_live_dead, "capsids": capsids,
    "remission_times": remission_times,
    "dugongs": dugongs, "stage_duration": stage_duration,
    "process_variance": process_variance, "mites": mites,
    "survey_size": survey_size, "strata_hours": strata_hours, "allocation": allocation_case,
    "city_ratio": city_ratio, "systematic_starts": systematic_starts,
    "double_sampling": double_sampling, "genetics": genetics,
}

SLACK = {"capsids": 0.3}  # Jolly (1965) rounded as he went: his numbers differ by up to 0.2

HEAD = """\
<!-- Written by docs/make_checks.py; change the cases or the script, not this page. -->

# Published checks

What the package must agree with. The cases, with their data, stand in `shared/checks`; tests hold
the package to them. Status words: *read* (seen in a text), *memory and checked* (data and result
recalled, and the one reproduces the other), *derived* (worked out exactly from a stated rule),
*memory* (recalled only). Most of these animals are not mussels: a method is checked where its
answer is known.

The tests in `tests/published`, `tests/estimate` and `tests/engine` hold many more numbers of these
cases than this page shows. A case that is not shown below may still be tested there, or may wait
for the part of the package that it is for.

## What the package gives
"""


def published_checks() -> str:
    """The page."""
    lines = [HEAD, _line("case", "what", "published", "from the package"),
             _line("---", "---", "---", "---")]
    for name, rows in CASES.items():
        title = case(name)["case"]
        for what, published, found in rows():
            digits = _digits(published)
            lines.append(_line(title, what, f"{published:.{digits}f}", f"{found:.{digits}f}"))
            title = ""
    lines += ["", "## All cases and their sources", "",
              _line("case", "source", "status", "shown above"), _line("---", "---", "---", "---")]
    for path in sorted(shipped("shared/checks").glob("*.yaml")):
        known = case(path.stem)
        status = "; ".join(f"{k.replace('_', ' ')}: {v}" for k, v in known["status"].items())
        lines.append(_line(known["case"], known["citation"], status,
                           "yes" if path.stem in CASES else "no"))
    return "\n".join(lines) + "\n"


def _digits(published: float) -> int:
    """Decimals that the published number shows."""
    text = f"{published:.10g}"
    return min(len(text.split(".")[1]), MOST_DECIMALS) if "." in text else 0


def _line(*cells: object) -> str:
    return "| " + " | ".join(" ".join(str(c).split()).replace("|", "\\|") for c in cells) + " |"


if __name__ == "__main__":
    page = write_text_atomic(DOCS / "published-checks.md", published_checks())
    print(page.name)
