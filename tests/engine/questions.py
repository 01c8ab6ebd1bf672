"""Small scenarios in their written form, and the engine's numbers for them."""

import numpy as np

from pva.engine.run import simulate
from pva.model.assemble import assemble
from pva.model.record import TALLIES
from pva.scenario.scenario import Scenario

SEED = 20260721
OFF = {"unknown": "off", "years": "off", "individuals": "off"}
ONLY_INDIVIDUALS = {"unknown": "off", "years": "off", "individuals": "on"}


def resolve(**written):
    """A scenario with what it must have filled in."""
    years = written.pop("years", 10)
    plain = {
        "title": "test", "census": "before breeding",
        "years": {"first": 2000, "last": 2000 + years},
        "bad_years": {"none": "test"}, "quasi_extinction": {"adults_below": 1},
        "runs": {"draws": 1, "replicates": 1, "seed": SEED},
    }
    return Scenario.from_dict(plain | written).resolved


def tallies(resolved, replicates, **how):
    """Yearly tallies of all replicates, (replicate, census, site, tally)."""
    model = assemble(resolved, seed=how.pop("seed", SEED))
    blocks = simulate(model.plan, model.draws, seed=SEED, replicates=replicates, **how)
    return np.concatenate([b.tallies for b in blocks])


def total(found, *names):
    """Sum of tallies over sites, (replicate, census)."""
    return sum(found[:, :, :, TALLIES.index(n)].sum(axis=2) for n in names)


def animals(found):
    """Animals in the river, (replicate, census)."""
    return total(found, "wild_animals", "stocked_animals")


def adults(found):
    """Adults in the river, (replicate, census)."""
    return total(found, "wild_adults", "stocked_adults")


def mean_classes(resolved, replicates=1):
    """Mean animals by census and class, both origins, over sites: (census, class)."""
    model = assemble(resolved, seed=SEED)
    blocks = simulate(model.plan, model.draws, seed=SEED, replicates=replicates)
    return sum(b.stage_sum for b in blocks).sum(axis=(1, 2)) / (replicates * len(model.draws.value))


def three_stages(**written):
    """Matrix of the three-stage branching process of shared/checks/branching_three_stage.yaml."""
    matrix = {
        "stages": ["juvenile", "subadult", "adult"], "adults": ["adult"],
        "survival_and_growth": [[0.4, 0, 0], [0.3, 0.25, 0], [0, 0.55, 0.9]],
        "recruitment": [[0, 0, 0.35], [0, 0, 0], [0, 0, 0]],
    }
    plain = {"matrix": matrix, "start": {"juvenile": 10, "subadult": 5, "adult": 3},
             "chance": ONLY_INDIVIDUALS}
    return resolve(**(plain | written))
