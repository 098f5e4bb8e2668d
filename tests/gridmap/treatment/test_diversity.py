"""Group diversity against the published Hill numbers of two spider data sets and a library's tests."""

import math

import pytest

from gridmap.errors import InputRefused
from gridmap.treatment import group_diversity

# Sackett et al. (2011) Ecosphere 2:74, spiders of girdled and logged plots; Hill numbers as printed in the vignette of
# R package iNEXT (Hsieh, Ma and Chao 2016, Methods in Ecology and Evolution 7:1451-1456).
GIRDLED = [46, 22, 17, 15, 15, 9, 8, 6, 6, 4, *[2] * 4, *[1] * 12]
LOGGED = [88, 22, 16, 15, 13, 10, 8, 8, 7, 7, 7, 5, 4, 4, 4, *[3] * 4, *[2] * 4, *[1] * 14]


@pytest.mark.parametrize(("counts", "published"), [
    (GIRDLED, (26, 12.060, 7.840)), (LOGGED, (37, 14.421, 6.761)),
])
def test_spiders_of_sackett(counts, published):
    assert group_diversity(counts) == pytest.approx(published, abs=0.0005)


def test_values_of_scikit_bio():
    # scikit-bio's tests: Shannon of 1, 2, 3, 4 is 1.279854226 (exp 3.596115467); Simpson of 1, 0, 2, 5, 2 is 0.66.
    assert group_diversity([1, 2, 3, 4]).order_1 == pytest.approx(3.596115467, abs=1e-9)
    assert 1 - 1 / group_diversity([1, 0, 2, 5, 2]).order_2 == pytest.approx(0.66, abs=1e-12)


def test_equal_groups_count_in_full():
    # Definition (Hill 1973): S groups alike have the diversity S at every order.
    assert group_diversity([7, 7, 7, 7]) == pytest.approx((4, 4, 4))
    assert math.isclose(group_diversity([3]).order_1, 1.0)


def test_a_negative_number_is_refused():
    with pytest.raises(InputRefused, match="A group's number is -1"):
        group_diversity([3, -1])
