"""What a user would otherwise pick from general libraries, each treated kindly.

Every peer foretells a mean; its counts scatter about it as a negative binomial with k of most likelihood against means
foretold without the count itself (10 folds). Logarithms come back by the smearing of Duan (1983), J. Am. Stat. Assoc.
78:605-610 (from memory), unless a peer is marked naive. Half an insect over the whole walk keeps means over zero.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from pykrige.ok import OrdinaryKriging
from scipy.interpolate import RBFInterpolator
from scipy.spatial.distance import cdist
from scipy.special import ndtr
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

from gridmap.statistics import fit_negative_binomial_k

FOLDS = 10


@dataclass(frozen=True)
class Foretold:
    """Mean per beat of each tree with k, and where the method has one its own normal curve of log(1 + count)."""

    mean: np.ndarray
    size: float
    log_mean: np.ndarray | None = None
    log_sd: np.ndarray | None = None       # of the smooth part
    log_sd_count: np.ndarray | None = None  # of a count


def block_mean(xy, y, block, to, to_block):
    grand = (y.sum() + 0.5) / (len(y) + 0.5)
    numbers = np.unique(np.concatenate([block, to_block]))
    mean = {b: (y[block == b].sum() + 0.5) / ((block == b).sum() + 0.5 / grand) for b in numbers}
    return np.array([mean[b] for b in to_block])


def inverse_distance(xy, y, block, to, to_block):
    near = np.sort(cdist(xy, xy), axis=1)[:, 1]
    weight = np.maximum(cdist(to, xy), 0.5 * np.median(near)) ** -2.0
    return weight @ (y + 0.5 / len(y)) / weight.sum(axis=1)


def thin_plate(smoothing):
    def run(xy, y, block, to, to_block):
        return RBFInterpolator(xy / 10, np.log1p(y), kernel="thin_plate_spline", smoothing=smoothing)(to / 10)
    return run


def variogram(xy, z):
    """Let PyKrige fit its own exponential variogram."""
    model = OrdinaryKriging(*xy.T, z, variogram_model="exponential", nlags=8)
    return [float(value) for value in model.variogram_model_parameters]


def krige(xy, z, to, parameters):
    model = OrdinaryKriging(*xy.T, z, variogram_model="exponential", exact_values=False,
                            variogram_parameters=dict(zip(("psill", "range", "nugget"), parameters, strict=True)))
    mean, variance = model.execute("points", *to.T)
    return np.asarray(mean), np.asarray(variance)


def folds(n):
    return np.random.default_rng(0).permutation(n) % min(FOLDS, n)


def left_out(method, xy, y, block):
    """Return what is foretold of each count from the others."""
    fold, result = folds(len(y)), np.empty(len(y))
    for f in np.unique(fold):
        out = fold == f
        result[out] = method(xy[~out], y[~out], block[~out], xy[out], block[out])
    return result


def plain(method, xy, y, block, to, to_block):
    """Return what a method foretells that gives the mean itself."""
    least = 0.5 / len(y)
    k = fit_negative_binomial_k(y, np.maximum(left_out(method, xy, y, block), least))
    return Foretold(np.maximum(method(xy, y, block, to, to_block), least), k)


def of_log(method, xy, y, block, to, to_block, *, naive=False):
    """Return what a method of log(1 + count) foretells, brought back by the ratio of left-out means (smearing)."""
    out = left_out(method, xy, y, block)
    log_mean = method(xy, y, block, to, to_block)
    factor = 1.0 if naive else (y.sum() + 0.5) / max(np.expm1(np.maximum(out, 1e-3)).sum(), 1e-9)
    least = 0.5 / len(y)
    back = np.maximum(factor * np.expm1(np.maximum(out, 0.0)), least)
    mean = np.maximum(factor * np.expm1(np.maximum(log_mean, 0.0)), least)
    return Foretold(mean, fit_negative_binomial_k(y, back), log_mean)


def best_thin_plate(xy, y, block, to, to_block):
    """Smoothing chosen by left-out error of the logarithm."""
    choices = [thin_plate(s) for s in (0.1, 1.0, 10.0, 100.0, 1000.0)]
    errors = [np.square(left_out(choice, xy, y, block) - np.log1p(y)).sum() for choice in choices]
    return of_log(choices[int(np.argmin(errors))], xy, y, block, to, to_block)


def kriged_counts(xy, y, block, to, to_block):
    parameters = variogram(xy, y)
    return plain(lambda a, b, c, d, e: krige(a, b, d, parameters)[0], xy, y, block, to, to_block)


def kriged_logs(xy, y, block, to, to_block, *, naive=False):
    parameters = variogram(xy, np.log1p(y))
    told = of_log(lambda a, b, c, d, e: krige(a, np.log1p(b), d, parameters)[0], xy, y, block, to, to_block,
                  naive=naive)
    variance = np.maximum(krige(xy, np.log1p(y), to, parameters)[1], 1e-4)
    return Foretold(told.mean, told.size, told.log_mean, np.sqrt(np.maximum(variance - parameters[2], 1e-4)),
                    np.sqrt(variance))


def gaussian_process(xy, y, block, to, to_block):
    """scikit-learn on log(1 + count), Matern 3/2 plus white noise, hyper-parameters of most likelihood."""
    z = np.log1p(y)
    scale = max(float(z.std()), 0.1)
    kernel = ConstantKernel(0.5, (1e-3, 20)) * Matern(40.0, (8, 400), nu=1.5) + WhiteKernel(0.5, (1e-2, 10))
    model = GaussianProcessRegressor(kernel, n_restarts_optimizer=2, random_state=0).fit(xy, (z - z.mean()) / scale)

    def again(a, b, c, d, e):
        fixed = GaussianProcessRegressor(model.kernel_, optimizer=None)
        w = np.log1p(b)
        return fixed.fit(a, (w - w.mean()) / scale).predict(d) * scale + w.mean()

    told = of_log(again, xy, y, block, to, to_block)
    _, sd = model.predict(to, return_std=True)
    # The white noise is in the diagonal of new points only through the fitted kernel's own noise.
    noise = float(model.kernel_.k2.noise_level)
    whole = np.maximum(sd**2, 1e-6)
    return Foretold(told.mean, told.size, told.log_mean, scale * np.sqrt(np.maximum(whole - noise, 1e-4)),
                    scale * np.sqrt(whole))


PEERS = {
    "block mean": lambda *a: plain(block_mean, *a),
    "inverse distance": lambda *a: plain(inverse_distance, *a),
    "thin plate": best_thin_plate,
    "kriging counts": kriged_counts,
    "kriging log1p naive": lambda *a: kriged_logs(*a, naive=True),
    "kriging log1p": kriged_logs,
    "GPR log1p": gaussian_process,
}


def foretell(name, xy, y, block, to, to_block):
    """Return what a peer foretells; a walk without any difference leaves only its mean."""
    if np.ptp(y) == 0 and name not in ("block mean", "inverse distance"):
        return plain(block_mean, xy, y, np.zeros(len(y)), to, np.zeros(len(to)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # fits that end at the edge of what they were allowed
        return PEERS[name](xy, y, block, to, to_block)


def chances(told, threshold):
    """Return the chance of being over by each way a peer could take; the bench keeps the kindest over all groves."""
    ways = {"mean over": (told.mean > threshold).astype(float)}
    # The unevenness of counts about what is foretold, as a log-normal: half of it laid to the tree.
    doubt = np.sqrt(0.5 * np.log1p(1.0 / told.size))
    ways["log-normal"] = ndtr((np.log(told.mean / threshold) - 0.5 * doubt**2) / doubt)
    if told.log_sd is not None:
        ways["own curve"] = ndtr((told.log_mean - np.log1p(threshold)) / told.log_sd)
        shift = np.log(told.mean / np.maximum(np.expm1(np.maximum(told.log_mean, 1e-3)), 1e-9))
        ways["own curve, moved"] = ndtr((told.log_mean + shift - np.log1p(threshold)) / told.log_sd)
    return ways
