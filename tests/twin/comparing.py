"""The engine's numbers of one scenario in the shape of the twin's."""

from pva.engine.run import simulate
from pva.model.assemble import assemble
from pva.model.record import TALLIES

ORIGINS = ("wild", "stocked")
TOO_MANY = 1e9  # beyond it a mean that differs in its last digit is a different whole number


def engine_runs(resolved, seed):
    """(draw, replicate) -> list over censuses of (animals, tallies) as the twin gives them.

    Animals come from blocks of one replicate, tallies from all replicates side by side.
    """
    model = assemble(resolved, seed=seed)
    replicates = resolved.runs.replicates
    (together,) = simulate(model.plan, model.draws, seed=seed, replicates=replicates, threads=1)
    found = {}
    for block in simulate(model.plan, model.draws, seed=seed, replicates=replicates, threads=1,
                          size=1):
        found[divmod(block.first, replicates)] = [
            (animals(block.stage_sum[i], model), tallies(together.tallies[block.first, i], model))
            for i in range(len(block.stage_sum))
        ]
    return found


def animals(numbers, model):
    """Origin -> site -> class -> n."""
    return {
        origin: {
            site: {name: float(numbers[o, s, c]) for c, name in enumerate(model.classes.names)}
            for s, site in enumerate(model.sites)
        }
        for o, origin in enumerate(ORIGINS)
    }


def tallies(numbers, model):
    """Site -> tally -> number."""
    return {site: {name: float(numbers[s, t]) for t, name in enumerate(TALLIES)}
            for s, site in enumerate(model.sites)}


def differences(resolved, seed, twin, *, relative=1e-9):
    """What differs between engine and twin, in words; counts of whole animals must be equal."""
    found = []
    for (draw, replicate), years in engine_runs(resolved, seed).items():
        for census, (stock, flow) in zip(twin(resolved, seed, draw, replicate), years, strict=True):
            if max(n for _, n, _ in pairs(census.animals, stock)) > TOO_MANY:
                break
            where = f"draw {draw}, replicate {replicate}, census {census.year}"
            for path, mine, other in pairs(census.animals, stock):
                if differ(mine, other, 0.0 if resolved.chance.individuals else relative):
                    found.append(f"{where}: {path}: twin {mine!r}, engine {other!r}")
            for path, mine, other in pairs(census.tallies, flow):
                if differ(mine, other, relative):
                    found.append(f"{where}: {path}: twin {mine!r}, engine {other!r}")
            if found:
                return found
    return found


def pairs(mine, other, path=""):
    """Leaves of two nested mappings with the same keys."""
    if not isinstance(mine, dict):
        yield path, mine, other
        return
    assert set(mine) == set(other), (path, set(mine) ^ set(other))
    for key, below in mine.items():
        yield from pairs(below, other[key], f"{path}/{key}")


def differ(mine, other, relative):
    return not abs(mine - other) <= relative * max(abs(mine), abs(other), 0.01)
