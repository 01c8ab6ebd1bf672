"""W1 with numba, one replicate at a time, with the random numbers numba brings along."""

import math

import numpy as np
from numba import njit

from tests.benchmarks import workloads as w


@njit(nogil=True)
def simulate(replicates, seed, logit_mean, logit_sd, log_mean, log_sd, start, adults):
    """Adults by census into `adults`, shape (replicate, census)."""
    np.random.seed(seed)
    n = np.zeros((2, 5), dtype=np.int64)
    alive = np.zeros((2, 5), dtype=np.int64)
    s = np.zeros(5)
    for i in range(replicates):
        n[0, :] = start
        n[1, :] = 0
        adults[i, 0] = n[0, 4]
        for year in range(adults.shape[1] - 1):
            shared = math.sqrt(0.5) * np.random.standard_normal()
            for c in range(5):
                z = shared + math.sqrt(0.5) * np.random.standard_normal()
                s[c] = 1 / (1 + math.exp(-(logit_mean[c] + logit_sd[c] * z)))
            z = shared + math.sqrt(0.5) * np.random.standard_normal()
            young = math.exp(log_mean + log_sd * z)
            if np.random.random() < 0.04:
                s *= 0.6
            breeders = n[0, 4] + n[1, 4]
            recruits = 0
            if breeders > 0:
                recruits = np.random.poisson(young * breeders / (1 + breeders / 500))
            for o in range(2):
                for c in range(5):
                    alive[o, c] = np.random.binomial(n[o, c], s[c]) if n[o, c] > 0 else 0
            for o in range(2):
                up = np.random.binomial(alive[o, 2], 0.8) if alive[o, 2] > 0 else 0
                mature = np.random.binomial(alive[o, 3], 0.25) if alive[o, 3] > 0 else 0
                n[o, 0] = 0
                n[o, 1] = alive[o, 0]
                n[o, 2] = alive[o, 1] + alive[o, 2] - up
                n[o, 3] = up + alive[o, 3] - mature
                n[o, 4] = mature + alive[o, 4]
            if year < 10:
                lived = np.random.binomial(50, s[3])
                mature = np.random.binomial(lived, 0.25) if lived > 0 else 0
                n[1, 3] += lived - mature
                n[1, 4] += mature
            n[0, 0] += recruits
            over = n.sum() - 5000
            while over > 0:  # one animal at a time: it hardly ever happens
                pick = np.random.randint(0, n.sum())
                for k in range(10):
                    pick -= n[k // 5, k % 5]
                    if pick < 0:
                        n[k // 5, k % 5] -= 1
                        break
                over -= 1
            adults[i, year + 1] = n[0, 4] + n[1, 4]


def one_site(replicates, seed, numbers):
    """W1. Adults by census, shape (replicate, census)."""
    adults = np.empty((replicates, w.YEARS + 1))
    simulate(replicates, seed, numbers.logit_mean, numbers.logit_sd, numbers.log_mean,
             numbers.log_sd, np.array(w.START), adults)
    return adults
