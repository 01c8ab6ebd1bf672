"""How many lanes a block has at most, and where they lie in scratch space."""

LANES = 1000  # not a power of two: rows a power of two apart would fight for the same cache lines
PITCH = LANES + 24  # from column to column of the scratch space, spare lanes included
WIDE = 8  # lanes the widest instructions take at once
