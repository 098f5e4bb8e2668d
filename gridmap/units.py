"""Conversions between what a label or a gauge says and what is stored (litres, metres, hectares)."""

from __future__ import annotations

from typing import Final

M2_PER_HA: Final = 10_000.0
# Exact by definition: the international foot (1959) and the United States liquid gallon of 231 cubic inches.
M_PER_FOOT: Final = 0.3048
L_PER_US_GALLON: Final = 3.785411784
# 43,560 square feet of 0.3048 m.
M2_PER_ACRE: Final = 4_046.856_422_4


def ha(area_m2: float) -> float:
    """Square metres [m2] to hectares [ha].

    Examples
    --------
    >>> ha(25_000)
    2.5
    """
    return area_m2 / M2_PER_HA


def kmh(speed_m_per_s: float) -> float:
    """Metres a second [m/s] to kilometres an hour [km/h], the unit in which labels give wind.

    Examples
    --------
    >>> kmh(2.5)
    9.0
    """
    return speed_m_per_s * 3.6
