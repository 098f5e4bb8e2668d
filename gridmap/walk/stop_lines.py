"""The classic sequential plan: two straight lines that tell when enough trees were beaten."""

from __future__ import annotations

import math
from typing import NamedTuple

from gridmap import checks
from gridmap.errors import InputRefused


class StopLines(NamedTuple):
    """Total count T after n trees: T <= lower + slope n is under, T >= upper + slope n is over."""

    slope: float
    lower: float
    upper: float


def stop_lines(m0: float, m1: float, k: float, alpha: float, beta: float) -> StopLines:
    """Tell when a classic sequential plan may stop: slope and two intercepts for the running total of counts.

    Parameters
    ----------
    m0, m1 : float
        Mean counts a beat [insects]: m0 is clearly under, m1 clearly over; 0 < m0 < m1. Both are the grower's own.
    k : float
        Size of the negative binomial, common to both; over 0.
    alpha, beta : float
        Chance of saying "over" at m0, and of saying "under" at m1; each over 0, together under 1.

    Returns
    -------
    StopLines
        slope [insects a tree], lower and upper intercept [insects].

    Raises
    ------
    InputRefused
        When a number lies outside its limits.

    Notes
    -----
    Wald's sequential probability ratio test for the negative binomial with common k: with
    g = ln[m1 (k + m0) / (m0 (k + m1))], slope = k ln[(k + m1) / (k + m0)] / g, lower = ln[beta / (1 - alpha)] / g,
    upper = ln[(1 - beta) / alpha] / g. It takes counts for independent and k for known. k from one site was unreliable
    even with a hundred trees, and trees near one another are alike, which broke such plans (Carleton, Heard and Silk
    2013, PLoS ONE 8:e82618): set a least and a most number of trees, and look at the simulated chances
    (`characteristic`) before relying on it.

    References
    ----------
    Wald, A. (1947) Sequential Analysis. Wiley, New York.

    Examples
    --------
    >>> lines = stop_lines(m0=2, m1=4, k=1, alpha=0.1, beta=0.1)
    >>> [round(value, 3) for value in lines]
    [2.802, -12.051, 12.051]
    >>> stop_lines(4, 2, 1, 0.1, 0.1)
    Traceback (most recent call last):
    gridmap.errors.InputRefused: M0 is 4 and m1 is 2: m0 must be under m1.
    """
    low = checks.number(m0, "m0", "insects a beat", over=0.0)
    high = checks.number(m1, "m1", "insects a beat", over=0.0)
    size = checks.number(k, "k", over=0.0)
    a, b = checks.number(alpha, "alpha", over=0.0), checks.number(beta, "beta", over=0.0)
    if not low < high:
        raise InputRefused(f"m0 is {low:g} and m1 is {high:g}", "m0 must be under m1")
    if a + b >= 1.0:
        raise InputRefused(f"alpha and beta are {a:g} and {b:g}", "together they must be under 1")
    g = math.log(high * (size + low) / (low * (size + high)))
    slope = size * math.log((size + high) / (size + low)) / g
    return StopLines(slope, math.log(b / (1.0 - a)) / g, math.log((1.0 - b) / a) / g)
