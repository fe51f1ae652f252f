"""Second opinions: our figures beside those of libraries that nobody here wrote.

Each module names its library, its tolerance and the reason for it, and shows on purpose that a
figure just outside the tolerance is refused.
"""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Numbers = float | Array
# Ours, theirs, relative and absolute tolerance.
Opinion = tuple[Array, Array, float, float]

# Two programs that evaluate one formula in another order differ by a few roundings of 1.1e-16 each;
# powers and logarithms add a few more.
ROUNDING = 1e-12


def share_of_tolerance(
    ours: Numbers, theirs: Numbers, relative: float, absolute: float = 0.0
) -> Array:
    """Return how much of the tolerance each difference uses [1]; above 1 is a disagreement."""
    allowed = relative * np.abs(theirs) + absolute
    return np.asarray(np.abs(np.asarray(ours) - theirs) / allowed)


def agrees(ours: Numbers, theirs: Numbers, relative: float, absolute: float = 0.0) -> bool:
    """Return whether every figure is within the tolerance; NaN and no figures at all are not."""
    share = share_of_tolerance(ours, theirs, relative, absolute)
    return share.size > 0 and bool(np.all(share <= 1.0))


def each_point_matters(
    ours: Numbers, theirs: Numbers, relative: float, absolute: float = 0.0, push: float = 1.05
) -> bool:
    """Return whether one point pushed out of tolerance among all the good ones is refused.

    Each point in turn is moved by ``push`` tolerances away from the other figure: away, because a
    figure that stands on one side already would be moved across and back in.
    """
    mine, other = np.broadcast_arrays(np.asarray(ours, float), theirs)
    away = np.where(mine < other, -1.0, 1.0)
    pushed = mine + away * push * (relative * np.abs(other) + absolute)
    refused = []
    for index in np.ndindex(mine.shape):
        spoilt = mine.copy()
        spoilt[index] = pushed[index]
        refused.append(not agrees(spoilt, other, relative, absolute))
    return agrees(mine, other, relative, absolute) and bool(refused) and all(refused)
