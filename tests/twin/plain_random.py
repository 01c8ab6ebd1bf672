"""Addressed random numbers in plain Python: written to be read, slow, no arrays.

Any number is named by a key (seed, layer of chance, draw, replicate) and a counter (stream, model
year, attempt, first or second). Mixing function of SplitMix64: Steele, Lea & Flood 2014, OOPSLA.
Transformed rejection: Hörmann 1993. Gamma: Marsaglia & Tsang 2000. All constants from memory; known
answers of SplitMix64 are tested beside the engine.
"""

import math
from hashlib import blake2b

ENVIRONMENT, INDIVIDUALS, OTHER_INDIVIDUALS = 0, 1, 2
BITS_64 = 2**64 - 1
GOLDEN = 0x9E3779B97F4A7C15
MOST = 100  # a count of mean below 10 never gets there


def stream(*words):
    """64-bit address of a stream named by words."""
    text = "\x1f".join(words).encode("utf-8")
    return int.from_bytes(blake2b(text, digest_size=8).digest(), "little")


def mixed(x):
    """A 64-bit number stirred without loss (finaliser of Steele, Lea & Flood 2014)."""
    x = ((x ^ (x >> 30)) * 0xBF58476D1CE4E5B9) & BITS_64
    x = ((x ^ (x >> 27)) * 0x94D049BB133111EB) & BITS_64
    return x ^ (x >> 31)


def replicate_key(seed, layer, draw, replicate):
    """Key of one layer of chance of one replicate of one draw."""
    key = mixed((seed + GOLDEN) & BITS_64)
    for number in (layer, draw, replicate):
        key = stirred_in(key, number)
    return key


def stirred_in(state, number):
    """A 64-bit number that depends on both."""
    return mixed((state + GOLDEN * (number + 1)) & BITS_64)


class Luck:
    """The random numbers of one layer of chance of one replicate, by stream and year."""

    def __init__(self, key):
        self.key = key

    def two_uniforms(self, address, year, attempt=0):
        """Two numbers strictly between 0 and 1: 52 bits each, in the middle of their cell."""
        here = stirred_in(address, year)
        return tuple(self._uniform(stirred_in(here, 2 * attempt + which)) for which in (0, 1))

    def _uniform(self, counter):
        return ((mixed((self.key + counter) & BITS_64) >> 12) + 0.5) * 2.0**-52

    def normal(self, address, year):
        """One standard normal."""
        return normal_quantile(self.two_uniforms(address, year)[0])

    def binomial(self, n, p, address, year):
        """How many of n succeed with chance p each."""
        if n == 0 or p <= 0:
            return 0
        if p >= 1:
            return n
        rare = min(p, 1 - p)
        if n * rare >= 10:
            k = self._binomial_large(n, rare, address, year)
            return k if p <= 0.5 else n - k
        u = self.two_uniforms(address, year)[0]
        return count_up_binomial(n, p, u) if p <= 0.5 else n - count_up_binomial(n, rare, 1 - u)

    def _binomial_large(self, n, p, address, year):
        """Transformed rejection."""
        sd = math.sqrt(n * p * (1 - p))
        b = 1.15 + 2.53 * sd
        a = -0.0873 + 0.0248 * b + 0.01 * p
        mode = math.floor((n + 1) * p)
        for attempt in range(10**6):
            u, v = self.two_uniforms(address, year, attempt)
            u = u - 0.5
            edge = 0.5 - abs(u)
            k = math.floor((2 * a / edge + b) * u + n * p + 0.5)
            if not 0 <= k <= n:
                continue
            hat = v * (2.83 + 5.1 / b) * sd / (a / edge**2 + b)
            log_ratio = (
                math.lgamma(mode + 1) + math.lgamma(n - mode + 1)
                - math.lgamma(k + 1) - math.lgamma(n - k + 1)
                + (k - mode) * math.log(p / (1 - p))
            )
            if math.log(hat) <= log_ratio:
                return k
        raise AssertionError("no proposal was accepted")

    def poisson(self, mean, address, year):
        """A Poisson number."""
        if mean <= 0:
            return 0
        if mean >= 10:
            return self._poisson_large(mean, address, year)
        u = self.two_uniforms(address, year)[0]
        k, chance = 0, math.exp(-mean)
        while u > chance and k < MOST:
            u -= chance
            k += 1
            chance *= mean / k
        return k

    def _poisson_large(self, mean, address, year):
        b = 0.931 + 2.53 * math.sqrt(mean)
        a = -0.059 + 0.02483 * b
        for attempt in range(10**6):
            u, v = self.two_uniforms(address, year, attempt)
            u = u - 0.5
            edge = 0.5 - abs(u)
            k = math.floor((2 * a / edge + b) * u + mean + 0.43)
            if k < 0:
                continue
            hat = v * (1.1239 + 1.1328 / (b - 3.4)) / (a / edge**2 + b)
            if math.log(hat) <= k * math.log(mean) - mean - math.lgamma(k + 1):
                return k
        raise AssertionError("no proposal was accepted")

    def gamma(self, shape, address, year):
        """A gamma number of mean `shape` and scale 1."""
        boost = 1.0
        if shape < 1:
            boost = self.two_uniforms(address, year, 2**30)[0] ** (1 / shape)
            shape += 1
        d = shape - 1 / 3
        for attempt in range(10**6):
            u, w = self.two_uniforms(address, year, attempt)
            x = normal_quantile(u)
            v = (1 + x / math.sqrt(9 * d)) ** 3
            if v > 0 and math.log(w) < x * x / 2 + d - d * v + d * math.log(v):
                return boost * d * v
        raise AssertionError("no proposal was accepted")

    def hypergeometric(self, good, bad, taken, address, year):
        """Good ones among `taken` at random: the mode first, then one up, one down, and so on."""
        low, high = max(0, taken - bad), min(taken, good)
        if low >= high:
            return low
        mode = (taken + 1) * (good + 1) // (good + bad + 2)
        mode = min(max(mode, low), high)
        order = [mode]
        for step in range(1, high - low + 1):
            order += [k for k in (mode + step, mode - step) if low <= k <= high]
        u = self.two_uniforms(address, year)[0]
        ways = math.comb(good + bad, taken)
        for k in order:
            u -= math.comb(good, k) * math.comb(bad, taken - k) / ways
            if u <= 0:
                return k
        return mode


def count_up_binomial(n, p, u):
    """Smallest k whose summed chances reach u."""
    k, chance = 0, math.exp(n * math.log1p(-p))
    while u > chance and k < min(n, MOST):
        u -= chance
        k += 1
        chance *= p / (1 - p) * (n + 1 - k) / k
    return k


def normal_quantile(p):
    """The x below which a standard normal falls with chance p, by Newton's method on the log."""
    if p > 0.5:
        return -normal_quantile(1 - p)
    x = 0.0 if p > 0.1 else -math.sqrt(-2 * math.log(p))
    for _ in range(100):
        below = 0.5 * math.erfc(-x / math.sqrt(2))
        density = math.exp(-x * x / 2) / math.sqrt(2 * math.pi)
        step = (math.log(below) - math.log(p)) * below / density
        x -= step
        if abs(step) <= 1e-15 * max(1.0, abs(x)):
            break
    return x
