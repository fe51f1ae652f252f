"""By which way the cheapest articles are proven: small clusters are enumerated, others solved."""

from functools import partial

from loomwright.pricing.cover import CheapestPlan, Cluster
from loomwright.pricing.cover_enumeration import Enumeration
from loomwright.pricing.cover_solver import cheapest_plan


def proven_plans(cluster: Cluster) -> CheapestPlan:
    """Return what finds the cheapest plans of a cluster, with a proof.

    Both ways find the same plans.

    Parameters
    ----------
    cluster
        Needs and articles.

    Returns
    -------
    CheapestPlan
        The enumeration of a small cluster, else the solver.
    """
    plans = Enumeration(cluster)
    return plans.cheapest if plans.is_small else partial(cheapest_plan, cluster)
