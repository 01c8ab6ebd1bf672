/* W1 in plain C, one replicate at a time: what a careful programmer writes without wide instructions.
   Build: gcc -O3 -march=native -shared -fPIC scalar.c -lm */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#define TABLE 8192
static double log_factorial_table[TABLE];
typedef struct { uint64_t s[4]; } Random;

static inline uint64_t turn(uint64_t x, int k) { return (x << k) | (x >> (64 - k)); }

static inline uint64_t next(Random *r) { /* xoshiro256++, Blackman & Vigna 2021 */
    uint64_t *s = r->s, result = turn(s[0] + s[3], 23) + s[0], t = s[1] << 17;
    s[2] ^= s[0]; s[3] ^= s[1]; s[1] ^= s[2]; s[0] ^= s[3]; s[2] ^= t; s[3] = turn(s[3], 45);
    return result;
}

static inline double uniform(Random *r) { return ((next(r) >> 12) + 0.5) * 0x1p-52; }

static uint64_t split(uint64_t *x) {
    uint64_t z = (*x += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

static void two_normals(Random *r, double *a, double *b) { /* polar method */
    double x, y, s;
    do { x = 2 * uniform(r) - 1; y = 2 * uniform(r) - 1; s = x * x + y * y; } while (s >= 1);
    s = sqrt(-2 * log(s) / s);
    *a = x * s; *b = y * s;
}

static inline double log_factorial(int64_t k) {
    return k < TABLE ? log_factorial_table[k] : lgamma(k + 1.0);
}

static int64_t binomial(Random *r, int64_t n, double p) { /* Hörmann 1993 from n p = 10 on */
    if (n <= 0 || p <= 0) return 0;
    double q = p > 0.5 ? 1 - p : p;
    int64_t k = 0;
    if (n * q < 10) {
        double u = uniform(r), odds = q / (1 - q), chance = exp(n * log1p(-q));
        while (u > chance && k < n) { u -= chance; k++; chance *= odds * (n + 1 - k) / k; }
    } else {
        double root = sqrt(n * q * (1 - q)), b = 1.15 + 2.53 * root;
        double a = -0.0873 + 0.0248 * b + 0.01 * q, centre = n * q + 0.5, accept = 0.92 - 4.2 / b;
        double alpha = (2.83 + 5.1 / b) * root, odds = 0, h = 0;
        int64_t mode = -1;
        for (;;) {
            double u = uniform(r) - 0.5, v = uniform(r), us = 0.5 - fabs(u);
            double x = floor((2 * a / us + b) * u + centre);
            if (us >= 0.07 && v <= accept) { k = (int64_t)x; break; }
            if (x < 0 || x > n) continue;
            k = (int64_t)x;
            if (mode < 0) {
                mode = (int64_t)((n + 1) * q);
                odds = log(q / (1 - q));
                h = log_factorial(mode) + log_factorial(n - mode);
            }
            if (log(v * alpha / (a / (us * us) + b))
                <= h - log_factorial(k) - log_factorial(n - k) + (k - mode) * odds) break;
        }
    }
    return p > 0.5 ? n - k : k;
}

static int64_t poisson(Random *r, double mean) {
    if (mean <= 0) return 0;
    if (mean < 10) {
        double u = uniform(r), chance = exp(-mean);
        int64_t k = 0;
        while (u > chance && k < 100) { u -= chance; k++; chance *= mean / k; }
        return k;
    }
    double b = 0.931 + 2.53 * sqrt(mean), a = -0.059 + 0.02483 * b, log_mean = log(mean);
    double inverse = 1.1239 + 1.1328 / (b - 3.4), accept = 0.9277 - 3.6224 / (b - 2);
    for (;;) {
        double u = uniform(r) - 0.5, v = uniform(r), us = 0.5 - fabs(u);
        double x = floor((2 * a / us + b) * u + mean + 0.43);
        if (us >= 0.07 && v <= accept) return (int64_t)x;
        if (x < 0 || (us < 0.013 && v > us)) continue;
        if (log(v * inverse / (a / (us * us) + b))
            <= x * log_mean - mean - log_factorial((int64_t)x)) return (int64_t)x;
    }
}

static void crowd(Random *r, int64_t n[2][5]) { /* one at a time: it hardly ever happens */
    int64_t total = 0;
    for (int k = 0; k < 10; k++) total += n[k / 5][k % 5];
    for (; total > 5000; total--) {
        int64_t pick = (int64_t)(uniform(r) * total);
        for (int k = 0; k < 10; k++) {
            pick -= n[k / 5][k % 5];
            if (pick < 0) { n[k / 5][k % 5]--; break; }
        }
    }
}

void one_site(int64_t replicates, uint64_t seed, const double *logit_mean, const double *logit_sd,
              double log_mean, double log_sd, const int64_t *start, int64_t years, double *adults) {
    for (int k = 0; k < TABLE; k++) log_factorial_table[k] = lgamma(k + 1.0);
    Random r;
    for (int k = 0; k < 4; k++) r.s[k] = split(&seed);
    for (int64_t i = 0; i < replicates; i++) {
        int64_t n[2][5] = {{0}};
        for (int c = 0; c < 5; c++) n[0][c] = start[c];
        double *out = adults + i * (years + 1);
        out[0] = n[0][4];
        for (int64_t year = 0; year < years; year++) {
            double z[8], s[5];
            for (int c = 0; c < 8; c += 2) two_normals(&r, z + c, z + c + 1);
            for (int c = 0; c < 6; c++) z[c] = M_SQRT1_2 * (z[6] + z[c]);
            for (int c = 0; c < 5; c++) s[c] = 1 / (1 + exp(-(logit_mean[c] + logit_sd[c] * z[c])));
            double young = exp(log_mean + log_sd * z[5]);
            if (uniform(&r) < 0.04) for (int c = 0; c < 5; c++) s[c] *= 0.6;
            double breeders = n[0][4] + n[1][4];
            int64_t recruits = poisson(&r, young * breeders / (1 + breeders / 500));
            for (int o = 0; o < 2; o++) {
                int64_t alive[5];
                for (int c = 0; c < 5; c++) alive[c] = binomial(&r, n[o][c], s[c]);
                int64_t up = binomial(&r, alive[2], 0.8), mature = binomial(&r, alive[3], 0.25);
                n[o][0] = 0;
                n[o][1] = alive[0];
                n[o][2] = alive[1] + alive[2] - up;
                n[o][3] = up + alive[3] - mature;
                n[o][4] = mature + alive[4];
            }
            if (year < 10) {
                int64_t lived = binomial(&r, 50, s[3]), mature = binomial(&r, lived, 0.25);
                n[1][3] += lived - mature;
                n[1][4] += mature;
            }
            n[0][0] += recruits;
            crowd(&r, n);
            out[year + 1] = n[0][4] + n[1][4];
        }
    }
}
