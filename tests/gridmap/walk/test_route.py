"""The shortest round, against a published instance, a general solver, and trying every order."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial.distance import cdist

from gridmap.errors import InputRefused
from gridmap.walk import route, shortest_round

# TSPLIB berlin52 (Reinelt 1991, ORSA Journal on Computing 3:376-384, doi:10.1287/ijoc.3.4.376): coordinates and the
# optimum 7542 from memory; the solver below finds the same optimum, so both were remembered well.
BERLIN = """565 575;25 185;345 750;945 685;845 655;880 660;25 230;525 1000;580 1175;650 1130;1605 620;1220 580;1465 200;
1530 5;845 680;725 370;145 665;415 635;510 875;560 365;300 465;520 585;480 415;835 625;975 580;1215 245;1320 315;
1250 400;660 180;410 250;420 555;575 665;1150 1160;700 580;685 595;685 610;770 610;795 645;720 635;760 650;475 960;
95 260;875 920;700 500;555 815;830 485;1170 65;830 610;605 625;595 360;1340 725;1740 245"""
BERLIN_OPTIMUM = 7542


def berlin():
    place = np.array([[float(number) for number in pair.split()] for pair in BERLIN.split(";")])
    # TSPLIB rounds each distance to a whole number (EUC_2D).
    return np.rint(cdist(place, place))


def length(order, D):
    return float(D[order, np.roll(order, -1)].sum())


def exact(D):
    """Return the length of the shortest round by a general solver (HiGHS), rings cut off until there is one round."""
    n = len(D)
    # Legs to the ten nearest stops only: no optimum known to us needs another.
    near = np.argsort(np.argsort(D, axis=1), axis=1) <= 10
    i, j = np.nonzero(np.triu(near | near.T, 1))
    cost = D[i, j]
    ends = csr_array((np.ones(2 * len(i)), (np.concatenate([i, j]), np.tile(np.arange(len(i)), 2))), (n, len(i)))
    limits = [LinearConstraint(ends, 2, 2)]
    while True:
        found = milp(cost, constraints=limits, bounds=Bounds(0, 1), integrality=np.ones(len(i)))
        used = found.x > 0.5
        legs = csr_array((np.ones(used.sum()), (i[used], j[used])), (n, n))
        rings, which = connected_components(legs, directed=False)
        if rings == 1:
            return found.fun
        for ring in range(rings):
            inside = (which[i] == ring) & (which[j] == ring)
            limits.append(LinearConstraint(inside[None].astype(float), -np.inf, (which == ring).sum() - 1))


def test_a_published_instance():
    D = berlin()
    assert length(shortest_round(D), D) <= 1.05 * BERLIN_OPTIMUM


@pytest.mark.parametrize(("stops", "seed"), [(20, 1), (40, 2), (60, 3), (60, 4)])
def test_within_five_percent_of_the_optimum(stops, seed):
    place = np.random.default_rng(seed).uniform(0, 300, (stops, 2))
    D = cdist(place, place)
    best = exact(D)
    found = length(shortest_round(D), D)
    assert best - 1e-6 <= found <= 1.05 * best


@pytest.mark.parametrize("stops", [4, 5, 7, 8])
def test_no_order_is_shorter_among_few_stops(stops):
    place = np.random.default_rng(stops).uniform(0, 100, (stops, 2))
    D = cdist(place, place)
    orders = (np.array([0, *rest]) for rest in itertools.permutations(range(1, stops)))
    assert length(shortest_round(D), D) == pytest.approx(min(length(order, D) for order in orders))


def test_same_seed_same_round_and_every_stop_once():
    place = np.random.default_rng(0).uniform(0, 100, (45, 2))
    D = cdist(place, place)
    order = shortest_round(D, seed=3)
    assert (order == shortest_round(D, seed=3)).all()
    assert sorted(order) == list(range(45))
    assert order[0] == 0


def test_stops_at_one_place():
    assert sorted(shortest_round(np.zeros((9, 9)))) == list(range(9))


@pytest.mark.parametrize("wrong", [[[0, 1]], [[0, 1], [2, 0]], [[0, np.nan], [np.nan, 0]]])
def test_distances_that_are_none_are_refused(wrong):
    with pytest.raises(InputRefused, match=r"square|both ways"):
        shortest_round(np.array(wrong, dtype=float))


def test_a_change_gains_what_it_says():
    """Every exchange and move against the length of the round it makes, on lattices with many ties."""
    rng = np.random.default_rng(0)
    for _ in range(1500):
        n = int(rng.integers(4, 10))
        place = rng.integers(0, 4, (n, 2)).astype(float)
        D = cdist(place, place, "cityblock")
        tour = rng.permutation(n)
        E = D[np.ix_(tour, tour)]
        changes = [route._exchange(E), *(route._move(E, part) for part in range(1, min(3, n - 3) + 1))]
        for gain, change in changes:
            assert length(tour, D) - length(tour[change], D) == pytest.approx(gain)
