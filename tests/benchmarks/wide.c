/* W1 in C laid out for wide instructions: rows of lanes, staged samplers, compaction of what is left
   over. The ceiling the package is held against. Needs AVX-512.
   Build: gcc -O3 -march=native -mprefer-vector-width=512 -ffast-math -fopenmp-simd -shared -fPIC
   wide.c -lm */
#include <immintrin.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#define L 1000
#define SPARE 1024
#define TABLE 8192
#define EIGHT _mm256_setr_epi32(0, 1, 2, 3, 4, 5, 6, 7)
#define SIMD _Pragma("omp simd")
typedef double Row[SPARE] __attribute__((aligned(64)));
typedef uint64_t Keys[SPARE] __attribute__((aligned(64)));
static double log_factorial_table[TABLE];

static inline uint64_t mixed(uint64_t x) {
    x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9u;
    x = (x ^ (x >> 27)) * 0x94D049BB133111EBu;
    return x ^ (x >> 31);
}
static inline double uniform(uint64_t key, uint64_t count) {
    return ((double)(int64_t)(mixed(key + count) >> 12) + 0.5) * 0x1p-52;
}
static inline uint64_t counter(uint64_t stream, uint64_t year, uint64_t number) {
    uint64_t here = mixed(stream * 0xD1342543DE82EF95u + 0x9E3779B97F4A7C15u * (year + 1));
    return mixed(here + 0x9E3779B97F4A7C15u * (number + 1));
}
static inline double log_factorial(double k) {
    return k < TABLE ? log_factorial_table[(int64_t)k] : lgamma(k + 1);
}

/* normals by pairs: radius and angle */
static void normals(int lanes, const uint64_t *key, uint64_t stream, uint64_t year, double *a,
                    double *b) {
    uint64_t first = counter(stream, year, 0), second = counter(stream, year, 1);
    Row radius, angle;
    SIMD
    for (int i = 0; i < lanes; i++) {
        radius[i] = sqrt(-2 * log(uniform(key[i], first)));
        angle[i] = 6.283185307179586 * uniform(key[i], second);
    }
    SIMD
    for (int i = 0; i < lanes; i++) a[i] = radius[i] * cos(angle[i]);
    SIMD
    for (int i = 0; i < lanes; i++) b[i] = radius[i] * sin(angle[i]);
}

static int small(int lanes, const double *slope, const double *top, double *left, double *chance,
                 double *k, int step) {
    int going = 0;
    _Pragma("omp simd reduction(+ : going)")
    for (int i = 0; i < lanes; i++) {
        double u = left[i], c = chance[i], m = k[i];
        for (int s = 1; s <= 4; s++) {
            int on = u > c && c > 0;
            u = on ? u - c : -1;
            m += on ? 1 : 0;
            c *= fmax(top[i] + slope[i] * (step + s), 0) * (1.0 / (step + s));
        }
        left[i] = u; chance[i] = c; k[i] = m;
        going += u > c && c > 0;
    }
    return going;
}

/* poisson: q holds the means and n is not used */
static void small_counts(int poisson, int lanes, const double *n, const double *q,
                         const uint64_t *key, uint64_t count, double *k) {
    Row left, chance, slope, top;
    SIMD
    for (int i = 0; i < lanes; i++) {
        double odds = q[i] / (1 - q[i]);
        left[i] = uniform(key[i], count);
        chance[i] = exp(poisson ? -q[i] : n[i] * log(1 - q[i]));
        slope[i] = poisson ? 0 : -odds;
        top[i] = poisson ? q[i] : odds * (n[i] + 1);
        k[i] = 0;
    }
    for (int step = 0; step < 100; step += 4)
        if (!small(lanes, slope, top, left, chance, k, step)) break;
}

/* a proposal: k, or -1 refused; box squeeze, the rest in full with gathered log-factorials */
static void propose_binomials(int lanes, const double *n, const double *q, const uint64_t *key,
                              uint64_t first, uint64_t second, double *out) {
    Row us, vs, ks, ns, qs, got;
    int32_t place[SPARE];
    SIMD
    for (int i = 0; i < lanes; i++) {
        double u = uniform(key[i], first) - 0.5, v = uniform(key[i], second);
        double root = sqrt(n[i] * q[i] * (1 - q[i])), b = 1.15 + 2.53 * root;
        double a = -0.0873 + 0.0248 * b + 0.01 * q[i], edge = 0.5 - fabs(u);
        double k = floor((2 * a / edge + b) * u + n[i] * q[i] + 0.5);
        int box = edge >= 0.07 && v <= 0.92 - 4.2 / b, inside = k >= 0 && k <= n[i];
        us[i] = edge; vs[i] = v; ks[i] = k;
        out[i] = !inside ? -1 : box ? k : -2;
    }
    int many = 0;
    for (int i = 0; i < lanes; i += 8) {
        __mmask8 m = _mm512_cmp_pd_mask(_mm512_loadu_pd(out + i), _mm512_set1_pd(-2), _CMP_EQ_OQ);
        if (lanes - i < 8) m &= (1 << (lanes - i)) - 1;
        _mm512_storeu_pd(us + many, _mm512_maskz_compress_pd(m, _mm512_loadu_pd(us + i)));
        _mm512_storeu_pd(vs + many, _mm512_maskz_compress_pd(m, _mm512_loadu_pd(vs + i)));
        _mm512_storeu_pd(ks + many, _mm512_maskz_compress_pd(m, _mm512_loadu_pd(ks + i)));
        _mm512_storeu_pd(ns + many, _mm512_maskz_compress_pd(m, _mm512_loadu_pd(n + i)));
        _mm512_storeu_pd(qs + many, _mm512_maskz_compress_pd(m, _mm512_loadu_pd(q + i)));
        _mm256_storeu_si256((__m256i *)(place + many), _mm256_maskz_compress_epi32(
            m, _mm256_add_epi32(_mm256_set1_epi32(i), EIGHT)));
        many += __builtin_popcount(m);
    }
    SIMD
    for (int j = 0; j < many; j++) {
        double root = sqrt(ns[j] * qs[j] * (1 - qs[j])), b = 1.15 + 2.53 * root;
        double a = -0.0873 + 0.0248 * b + 0.01 * qs[j];
        double mode = floor((ns[j] + 1) * qs[j]), k = ks[j];
        double height = log(vs[j] * (2.83 + 5.1 / b) * root / (a / (us[j] * us[j]) + b));
        double ratio = log_factorial_table[(int32_t)mode] + log_factorial_table[(int32_t)(ns[j] - mode)]
            - log_factorial_table[(int32_t)k] - log_factorial_table[(int32_t)(ns[j] - k)]
            + (k - mode) * log(qs[j] / (1 - qs[j]));
        got[j] = height <= ratio ? k : -1;
    }
    for (int j = 0; j < many; j++) out[place[j]] = got[j];
}

static void propose_poissons(int lanes, const double *mean, const uint64_t *key, uint64_t first,
                             uint64_t second, double *out) {
    SIMD
    for (int i = 0; i < lanes; i++) {
        double u = uniform(key[i], first) - 0.5, v = uniform(key[i], second);
        double b = 0.931 + 2.53 * sqrt(mean[i]), a = -0.059 + 0.02483 * b, edge = 0.5 - fabs(u);
        double k = fmax(floor((2 * a / edge + b) * u + mean[i] + 0.43), -1);
        double height = log(v * (1.1239 + 1.1328 / (b - 3.4)) / (a / (edge * edge) + b));
        double ratio = k * log(mean[i]) - mean[i] - log_factorial_table[(int32_t)fmax(k, 0)];
        out[i] = k >= 0 && height <= ratio ? k : -1;
    }
}

static int left_over(int lanes, const double *mark, double value, const double *n, const double *q,
                     const uint64_t *key, const int32_t *from, double *ns, double *qs,
                     uint64_t *keys, int32_t *place) {
    int many = 0;
    for (int i = 0; i < lanes; i += 8) {
        __mmask8 m = _mm512_cmp_pd_mask(_mm512_loadu_pd(mark + i), _mm512_set1_pd(value), _CMP_LT_OQ);
        if (lanes - i < 8) m &= (1 << (lanes - i)) - 1;
        _mm512_storeu_pd(ns + many, _mm512_maskz_compress_pd(m, _mm512_loadu_pd(n + i)));
        _mm512_storeu_pd(qs + many, _mm512_maskz_compress_pd(m, _mm512_loadu_pd(q + i)));
        _mm512_storeu_si512(keys + many, _mm512_maskz_compress_epi64(m, _mm512_loadu_si512(key + i)));
        __m256i lane = from ? _mm256_loadu_si256((const __m256i *)(from + i))
                            : _mm256_add_epi32(_mm256_set1_epi32(i), EIGHT);
        _mm256_storeu_si256((__m256i *)(place + many), _mm256_maskz_compress_epi32(m, lane));
        many += __builtin_popcount(m);
    }
    return many;
}

static void large_counts(int poisson, int lanes, const double *n, const double *q,
                         const uint64_t *key, uint64_t stream, uint64_t year, double *out) {
    Row ns, qs, got;
    Keys keys;
    int32_t place[SPARE];
    for (int attempt = 0, many = lanes; many > 0; attempt++) {
        uint64_t first = counter(stream, year, 2 * attempt), second = counter(stream, year, 2 * attempt + 1);
        const double *n_now = attempt ? ns : n, *q_now = attempt ? qs : q;
        const uint64_t *key_now = attempt ? keys : key;
        double *to = attempt ? got : out;
        if (poisson) propose_poissons(many, q_now, key_now, first, second, to);
        else propose_binomials(many, n_now, q_now, key_now, first, second, to);
        if (attempt) for (int j = 0; j < many; j++) out[place[j]] = got[j];
        many = left_over(many, to, 0, n_now, q_now, key_now, attempt ? place : 0, ns, qs, keys, place);
    }
}

static void counts(int poisson, int lanes, const double *n, const double *p, const uint64_t *key,
                   uint64_t stream, uint64_t year, double *out) {
    Row q, mean, mark, ns, qs, got;
    Keys keys;
    int32_t place[SPARE];
    int large = 0;
    _Pragma("omp simd reduction(+ : large)")
    for (int i = 0; i < lanes; i++) {
        q[i] = poisson ? p[i] : fmin(p[i], 1 - p[i]);
        mean[i] = poisson ? p[i] : n[i] * q[i];
        mark[i] = -mean[i];
        large += mean[i] >= 10;
    }
    if (large == lanes) large_counts(poisson, lanes, n, q, key, stream, year, out);
    else if (large == 0) small_counts(poisson, lanes, n, q, key, counter(stream, year, 0), out);
    else {
        int many = left_over(lanes, mean, 10, n, q, key, 0, ns, qs, keys, place);
        small_counts(poisson, many, ns, qs, keys, counter(stream, year, 0), got);
        for (int j = 0; j < many; j++) out[place[j]] = got[j];
        many = left_over(lanes, mark, -10 + 1e-15, n, q, key, 0, ns, qs, keys, place);
        Row n2, q2, got2;
        Keys keys2;
        int32_t place2[SPARE];
        memcpy(n2, ns, sizeof n2); memcpy(q2, qs, sizeof q2); memcpy(keys2, keys, sizeof keys2);
        memcpy(place2, place, sizeof place2);
        large_counts(poisson, many, n2, q2, keys2, stream, year, got2);
        for (int j = 0; j < many; j++) out[place2[j]] = got2[j];
    }
    if (!poisson) {
        SIMD
        for (int i = 0; i < lanes; i++) out[i] = p[i] > 0.5 ? n[i] - out[i] : out[i];
    }
}

static void crowd(int lanes, Row n[2][5], const uint64_t *key, uint64_t year) {
    Row sum;
    double full = 0;
    _Pragma("omp simd reduction(+ : full)")
    for (int i = 0; i < lanes; i++) {
        sum[i] = 0;
        for (int k = 0; k < 10; k++) sum[i] += n[k / 5][k % 5][i];
        full += sum[i] > 5000 ? 1 : 0;
    }
    for (int i = 0; i < lanes && full > 0; i++) {
        double total = sum[i];
        for (; total > 5000; total--) { /* one at a time: it hardly ever happens */
            double pick = floor(uniform(key[i], counter(99, year, (uint64_t)total)) * total);
            for (int k = 0; k < 10; k++) {
                pick -= n[k / 5][k % 5][i];
                if (pick < 0) { n[k / 5][k % 5][i]--; break; }
            }
        }
    }
}

void one_site(int64_t replicates, uint64_t seed, const double *logit_mean, const double *logit_sd,
              double log_mean, double log_sd, const int64_t *start, int64_t years, double *adults) {
    Row n[2][5], z[8], s[5], young, mean, alive[5], up, mature, fifty, share[2], put;
    Keys key;
    for (int k = 0; k < TABLE; k++) log_factorial_table[k] = lgamma(k + 1.0);
    for (int64_t begin = 0; begin < replicates; begin += L) {
        int lanes = replicates - begin < L ? (int)(replicates - begin) : L;
        for (int i = 0; i < lanes; i++) {
            key[i] = mixed(mixed(seed) + 0x9E3779B97F4A7C15u * (begin + i + 1));
            for (int c = 0; c < 5; c++) { n[0][c][i] = start[c]; n[1][c][i] = 0; }
            share[0][i] = 0.8; share[1][i] = 0.25; fifty[i] = 50;
            adults[(begin + i) * (years + 1)] = start[4];
        }
        for (int64_t year = 0; year < years; year++) {
            for (int c = 0; c < 8; c += 2) normals(lanes, key, c, year, z[c], z[c + 1]);
            uint64_t bad = counter(20, year, 0);
            for (int c = 0; c < 5; c++) {
                SIMD
                for (int i = 0; i < lanes; i++) {
                    double x = logit_mean[c] + logit_sd[c] * M_SQRT1_2 * (z[6][i] + z[c][i]);
                    s[c][i] = 1 / (1 + exp(-x)) * (uniform(key[i], bad) < 0.04 ? 0.6 : 1);
                }
            }
            SIMD
            for (int i = 0; i < lanes; i++) {
                double rate = exp(log_mean + log_sd * M_SQRT1_2 * (z[6][i] + z[5][i]));
                double breeders = n[0][4][i] + n[1][4][i];
                mean[i] = rate * breeders / (1 + breeders / 500);
            }
            counts(1, lanes, mean, mean, key, 30, year, young);
            for (int o = 0; o < 2; o++) {
                for (int c = o ? 3 : 0; c < 5; c++)
                    counts(0, lanes, n[o][c], s[c], key, 40 + 5 * o + c, year, alive[c]);
                if (o == 0) counts(0, lanes, alive[2], share[0], key, 60, year, up);
                counts(0, lanes, alive[3], share[1], key, 61 + o, year, mature);
                SIMD
                for (int i = 0; i < lanes; i++) {
                    if (o == 0) {
                        n[0][0][i] = young[i];
                        n[0][1][i] = alive[0][i];
                        n[0][2][i] = alive[1][i] + alive[2][i] - up[i];
                    }
                    n[o][3][i] = (o ? 0 : up[i]) + alive[3][i] - mature[i];
                    n[o][4][i] = mature[i] + alive[4][i];
                }
            }
            if (year < 10) {
                counts(0, lanes, fifty, s[3], key, 70, year, put);
                counts(0, lanes, put, share[1], key, 71, year, mature);
                SIMD
                for (int i = 0; i < lanes; i++) {
                    n[1][3][i] += put[i] - mature[i];
                    n[1][4][i] += mature[i];
                }
            }
            crowd(lanes, n, key, year);
            for (int i = 0; i < lanes; i++)
                adults[(begin + i) * (years + 1) + year + 1] = n[0][4][i] + n[1][4][i];
        }
    }
}
