"""What all steps do with a row of lanes: some of the animals, or a sample without replacement."""

from __future__ import annotations

from pva.compiled import inner
from pva.engine.rows import binomials
from pva.engine.samplers import hypergeometric


@inner()
def fill(row, value):
    """Set every lane of a row. Loops like this compile far faster than whole-array assignments."""
    for i in range(len(row)):
        row[i] = value


@inner()
def copy(to, row):
    """Copy a row of lanes."""
    for i in range(len(row)):
        to[i] = row[i]


@inner()
def add(to, row):
    """Add a row of lanes to another."""
    for i in range(len(row)):
        to[i] += row[i]


@inner()
def sum_of(row, first, last, scratch):
    """Sum over lanes from `first` to before `last`, in an order that no machine changes.

    Eight runs of lanes are added side by side, then eight runs of what that gives: wide, and no
    sum waits for the one before. `scratch` has as many lanes as the row, or more.
    """
    many = (last - first) // 8
    few = many // 8
    _eight_runs(row, first, many, scratch)
    _eight_runs(scratch, few - few, few, scratch[many:])  # a bare 0 would compile it twice
    total = 0.0
    for i in range(many, many + few):
        total += scratch[i]
    for i in range(8 * few, many):
        total += scratch[i]
    for i in range(first + 8 * many, last):
        total += row[i]
    return total


@inner()
def _eight_runs(row, first, n, out):
    a, b, c, d = row[first:], row[first + n:], row[first + 2 * n:], row[first + 3 * n:]
    first += 4 * n
    e, f, g, h = row[first:], row[first + n:], row[first + 2 * n:], row[first + 3 * n:]
    for i in range(n):
        out[i] = ((a[i] + b[i]) + (c[i] + d[i])) + ((e[i] + f[i]) + (g[i] + h[i]))


@inner()
def any_in(row):
    """Whether any lane of a row is not 0."""
    for i in range(len(row)):
        if row[i] != 0.0:
            return True
    return False


@inner()
def clear_animals(n):
    """Empty an array of shape (origin, site, class, lane)."""
    for origin in range(n.shape[0]):
        for site in range(n.shape[1]):
            for c in range(n.shape[2]):
                fill(n[origin, site, c], 0.0)


@inner()
def copy_animals(to, n):
    """Copy an array of shape (origin, site, class, lane)."""
    for origin in range(n.shape[0]):
        for site in range(n.shape[1]):
            for c in range(n.shape[2]):
                copy(to[origin, site, c], n[origin, site, c])


@inner()
def some_of(n, chance, out, work, individuals, address, year):
    """Animals out of n that do something with a chance each, into `out`; all shapes (lane,)."""
    if individuals:
        binomials(n, chance, work.own_key, address, year, out, work.space)
    else:
        for i in range(len(n)):
            out[i] = n[i] * min(max(chance[i], 0.0), 1.0)


@inner()
def split_off(share, out, work, individuals, address, year):
    """One branch of a multinomial: `share` of the whole, out of what earlier branches left.

    `work.left` and `work.share` (animals and share left) shrink by what goes; a share that would
    exceed the rest is cut. All shapes (lane,); `work.chance` is scratch.
    """
    left, share_left, chance = work.left, work.share, work.chance
    for i in range(len(left)):
        cut = min(share[i], share_left[i])
        chance[i] = cut / share_left[i] if share_left[i] > 0.0 else 0.0
        share_left[i] -= cut
    some_of(left, chance, out, work, individuals, address, year)
    for i in range(len(left)):
        left[i] -= out[i]


@inner()
def drawn_from(n, total, wanted, out, individuals, key, address, year):
    """Of `wanted` animals taken at random from `total`, those of a group of n, into `out`.

    `total` and `wanted` shrink by the group, so that groups in turn make a sample without
    replacement. With individuals off `wanted` stays in proportion. All shapes (lane,).
    """
    for i in range(len(n)):
        if individuals:
            out[i] = hypergeometric(n[i], total[i] - n[i], wanted[i], key[i], address, year)
        elif wanted[i] >= total[i]:  # all, unrounded: a lane must not feel a full neighbour
            out[i] = n[i]
        else:
            out[i] = n[i] * wanted[i] / total[i] if total[i] > 0.0 else 0.0
        total[i] -= n[i]
        wanted[i] -= out[i]
