"""Outside diameters of conductors that lie together."""

import math
from collections.abc import Sequence

# Smallest circle around n equal circles over the diameter of one: 2.155 for 3, 2.414 for 4, 3.0
# for 7, 4.863 for 19. 1.25 * sqrt(n) lies above each of them.
_PACKING = 1.25


def bundle_diameter_m(outside_diameters_m: Sequence[float]) -> float:
    """Return the diameter of the circle around conductors that lie together.

    One and two conductors exactly; from three on an upper figure that a loom is chosen by.

    Parameters
    ----------
    outside_diameters_m
        Over the insulation [m], one or more.

    Returns
    -------
    float
        Diameter [m].

    Notes
    -----
    ``1.25 * sqrt(sum(d**2))`` for three or more, never below the two thickest side by side.
    """
    falling = sorted(outside_diameters_m, reverse=True)
    thickest_two = sum(falling[:2])
    if len(falling) <= 2:
        return thickest_two
    packed = _PACKING * math.sqrt(sum(d * d for d in falling))
    return max(thickest_two, packed)
