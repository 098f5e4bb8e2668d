"""Evidence and moments against importance sampling, a reference GLM and closed forms."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import optimize, special, stats

from gridmap.pressure._fit import fit_walk
from gridmap.pressure._laplace import gaussian, laplace
from gridmap.pressure._prior import MEAN_PER_BEAT
from gridmap.pressure._walk import covariance, read_walk

LOG_MEAN = np.log(MEAN_PER_BEAT)


def importance_sample(K, counts, log_mean, k, posterior, draws=20_000, seed=1):
    """Return log evidence, mean and sd of eta by self-normalised importance sampling, and its effective sample size.

    Target and proposal are densities of scipy.stats: a heavy-tailed multivariate t round the approximation, so that
    nothing of what is tested enters the answer.
    """
    mean = log_mean + K @ posterior.pull[0]
    cov = K - K @ posterior.precision()[0] @ K
    proposal = stats.multivariate_t(mean, 1.3 * (cov + cov.T) / 2 + 1e-9 * np.eye(len(K)), df=6, seed=seed)
    eta = proposal.rvs(draws).reshape(draws, len(K))
    log_weight = stats.nbinom.logpmf(counts, k, k / (k + np.exp(eta))).sum(axis=1)
    log_weight += stats.multivariate_normal(np.full(len(K), log_mean), K).logpdf(eta) - proposal.logpdf(eta)
    top = log_weight.max()
    weight = np.exp(log_weight - top)
    log_evidence = top + np.log(weight.mean())
    effective = weight.sum() ** 2 / (weight**2).sum()
    weight /= weight.sum()
    centre = weight @ eta
    return log_evidence, centre, np.sqrt(weight @ (eta - centre) ** 2), effective


def walks():
    rng = np.random.default_rng(4)
    twelve = rng.uniform(0, 90, (12, 2))
    yield "patchy", twelve, rng.negative_binomial(0.8, 0.8 / (0.8 + 3 * np.exp(np.sin(twelve[:, 0] / 20))))
    yield "all zero", twelve, np.zeros(12, dtype=int)
    yield "all equal", twelve[:8], np.full(8, 4)
    yield "one tree", twelve[:1], np.array([7])
    yield "repeat beats", twelve[[0, 0, 1, 1, 2]], np.array([0, 3, 9, 2, 0])


@pytest.mark.parametrize(("name", "xy", "counts"), list(walks()), ids=[walk[0] for walk in walks()])
def test_evidence_and_moments_are_those_of_importance_sampling(name, xy, counts):
    """Every grid point that holds over 2 % of the weight, and the evidence of the whole walk.

    Tolerance 0.18 nats: what is left after the second-order correction at large spread, where the plain approximation
    is 1.26 nats off. Sampling itself errs by 0.01 or so with these effective sizes.
    """
    walk = read_walk(xy, counts, None, np.zeros(len(xy), dtype=int), None, 3.0)
    fitted = fit_walk(walk, LOG_MEAN)
    main = np.flatnonzero(fitted.weight > 0.02)
    found, ours = [], []
    for g in main:
        point, posterior = fitted.points.take(np.array([g])), fitted.posterior.take(np.array([g]))
        K = covariance(walk, point)[0]
        log_evidence, mean, sd, effective = importance_sample(K, walk.counts, LOG_MEAN, point.size[0], posterior)
        assert effective > 5_000
        assert posterior.log_evidence[0] == pytest.approx(log_evidence, abs=0.18)
        approximate = np.sqrt(np.diagonal(K - K @ posterior.precision()[0] @ K))
        # A third of a standard deviation where nearly nothing was found (a long tail to the left), else far less.
        assert np.abs(LOG_MEAN + K @ posterior.pull[0] - mean).max() < (0.2 if counts.any() else 0.35) * sd.max()
        assert approximate == pytest.approx(sd, rel=0.15)
        found.append(log_evidence + point.log_prior[0])
        ours.append(posterior.log_evidence[0] + point.log_prior[0])
    assert special.logsumexp(ours) == pytest.approx(special.logsumexp(found), abs=0.1)


def test_correction_is_needed_at_large_spread():
    """The uncorrected evidence psi - log|B|/2 misses importance sampling by more than the corrected one does."""
    rng = np.random.default_rng(8)
    xy = rng.uniform(0, 120, (30, 2))
    distance = np.hypot(*(xy[:, None] - xy).T)
    K = 2.2**2 * np.exp(-2 * distance / 50) + 2.5 + 1e-6 * np.eye(30)
    eta = LOG_MEAN + np.linalg.cholesky(K - 2.0) @ rng.standard_normal(30)
    counts = rng.negative_binomial(1.2, 1.2 / (1.2 + np.exp(eta))).astype(float)
    posterior = laplace(K[None], counts, np.full(30, LOG_MEAN), np.array([1.2]))
    log_evidence, mean, _, _ = importance_sample(K, counts, LOG_MEAN, 1.2, posterior)
    mode = minimise_penalised(K, counts, 1.2)
    p = np.exp(mode) / (1.2 + np.exp(mode))
    weight = (counts + 1.2) * p * (1 - p)
    lift = mode - LOG_MEAN
    plain = stats.nbinom.logpmf(counts, 1.2, 1 - p).sum() - lift @ np.linalg.solve(K, lift) / 2
    plain -= np.linalg.slogdet(np.eye(30) + weight[:, None] * K)[1] / 2
    assert abs(posterior.log_evidence[0] - log_evidence) < 0.5 * abs(plain - log_evidence)
    assert abs(plain - log_evidence) > 0.3
    corrected = LOG_MEAN + K @ posterior.pull[0]
    assert np.abs(corrected - mean).mean() < 0.5 * np.abs(mode - mean).mean()


def minimise_penalised(K, counts, k):
    """Return the mode by a general optimiser of scipy."""
    root = np.linalg.cholesky(K)

    def target(z):
        eta = LOG_MEAN + root @ z
        p = np.exp(eta) / (k + np.exp(eta))
        value = -stats.nbinom.logpmf(counts, k, 1 - p).sum() + z @ z / 2
        return value, -root.T @ (counts - (counts + k) * p) + z
    start = np.linalg.solve(root, np.log(counts + 0.5) - LOG_MEAN)
    found = optimize.minimize(target, start, jac=True, method="BFGS", options={"gtol": 1e-6})
    return LOG_MEAN + root @ found.x


def test_poisson_limit_is_the_reference_glm():
    """With k = 1e7 and a wide prior for each of three blocks, efforts as offset: statsmodels' Poisson GLM.

    The mean of the posterior lies 1/(2 x total) under the mode of the GLM (closed form: digamma); both are checked.
    """
    rng = np.random.default_rng(2)
    block = np.repeat([0, 1, 2], 8)
    effort = rng.choice([1.0, 2.0, 4 / 3], 24)
    counts = rng.poisson(effort * np.array([3.0, 0.8, 12.0])[block]).astype(float)
    K = (100.0 * (block[:, None] == block) + 1e-6 * np.eye(24))[None]
    posterior = laplace(K, counts, np.log(effort), np.array([1e7]))
    mean = K[0] @ posterior.pull[0]
    sd = np.sqrt(np.diagonal(K[0] - K[0] @ posterior.precision()[0] @ K[0]))
    glm = sm.GLM(counts, pd.get_dummies(block, dtype=float), family=sm.families.Poisson(), offset=np.log(effort)).fit()
    total, effort_total = np.bincount(block, counts), np.bincount(block, effort)
    for b in range(3):
        first = np.flatnonzero(block == b)[0]
        # The prior of sd 10 moves the mode by mean / (100 total), the second order leaves 1 / (12 total^2) or so.
        assert mean[first] + 0.5 / total[b] == pytest.approx(glm.params.iloc[b], abs=0.02)
        assert mean[first] == pytest.approx(special.digamma(total[b]) - np.log(effort_total[b]), abs=0.01)
        assert sd[first] == pytest.approx(glm.bse.iloc[b], rel=0.01)


def test_evidence_of_one_poisson_rate_is_the_closed_form():
    """Conjugate Poisson-gamma: eta ~ log Gamma(shape, rate) is close to normal for a large shape.

    log Z = log Gamma-Poisson probability (scipy.stats.nbinom); prior Gamma(50, 25), whose log has mean digamma(50) -
    log 25 and variance trigamma(50); its skewness 0.14 limits the agreement to 0.02.
    """
    counts = np.array([4.0])
    K = np.array([[[special.polygamma(1, 50)]]])
    posterior = laplace(K, counts, np.array([special.digamma(50) - np.log(25)]), np.array([1e8]))
    assert posterior.log_evidence[0] == pytest.approx(stats.nbinom.logpmf(4, 50, 25 / 26), abs=0.02)


def test_gaussian_evidence_is_the_multivariate_normal():
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 50, (9, 2))
    K = np.exp(-2 * np.hypot(*(xy[:, None] - xy).T) / 30)
    value = rng.standard_normal(9)
    found = gaussian(K[None], value, 0.3)
    expected = stats.multivariate_normal(np.zeros(9), K + 0.3 * np.eye(9)).logpdf(value)
    assert found.log_evidence[0] == pytest.approx(expected)


def test_counts_far_from_the_prior_converge():
    """A count of 100,000 where 2 were expected: the halved steps reach the mode of a general optimiser."""
    K = 2.5 * np.eye(3) + 2.0
    counts = np.array([100_000.0, 0.0, 50_000.0])
    posterior = laplace(K[None], counts, np.full(3, LOG_MEAN), np.array([30.0]))
    mean = LOG_MEAN + K @ posterior.pull[0]
    assert np.isfinite(posterior.log_evidence).all()
    # Two counts of that size leave some 1/sqrt(30) of doubt each.
    assert mean[[0, 2]] == pytest.approx(minimise_penalised(K, counts, 30.0)[[0, 2]], abs=0.05)
