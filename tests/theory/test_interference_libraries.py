"""Machine interference in a general-purpose queueing library beside the product.

Library: Ciw (Palmer, Knight, Harper and Hawa, 2019, "Ciw: an open-source discrete event simulation
library", Journal of Simulation 13:68-82, from memory). The needs are customers who go round a
closed network for ever: exponential times at a node with a server for each, constant ones at a
node with one server. The product is lived on the compiled engine; that the engines agree is held
elsewhere.
"""

import math

import ciw
import numpy as np
import pytest

from petsim.theory.interference import interference, lived_shares
from petsim.theory.lab import Lab
from petsim.theory.verdicts import mean

REPLICATIONS, TIMES_AS_MANY_LIVES = 24, 10


@pytest.mark.parametrize(("n", "m", "takes"), [(4, 1800, 95), (6, 1200, 70), (5, 900, 150)])
def test_share_of_time_empty_is_that_of_a_closed_network(tmp_path, n, m, takes):
    theirs = np.array([share_at_repair(n, m, takes, seed) for seed in range(REPLICATIONS)])
    _, ours = lived_shares(Lab(tmp_path, "compiled", TIMES_AS_MANY_LIVES), n, m, takes)
    # The library has continuous time and no reaction; what these add is known exactly.
    _, continuous = interference(n, m, takes)
    _, whole_seconds = interference(n, m, takes, reaction=1, rounding=0.5)
    apart = math.hypot(*(got.std(ddof=1) / math.sqrt(len(got)) for got in (theirs, ours)))
    verdict = mean(
        f"{n} needs, drops every {m} s, actions of {takes} s: more of the time empty",
        ours.mean() - theirs.mean(),
        whole_seconds - continuous,
        apart,
    )
    assert verdict.holds, str(verdict)


def share_at_repair(n, m, takes, seed):
    """Share of time that a customer is at the node of one server, of 400 mean times."""
    begins, ends = 20 * m, 420 * m
    network = ciw.create_network(
        # All of them come at once, and nobody after them.
        arrival_distributions=[ciw.dists.Sequential([1e-6, float("inf")]), None],
        batching_distributions=[ciw.dists.Deterministic(n), ciw.dists.Deterministic(1)],
        service_distributions=[ciw.dists.Exponential(1 / m), ciw.dists.Deterministic(takes)],
        number_of_servers=[float("inf"), 1],
        routing=[[0.0, 1.0], [1.0, 0.0]],
    )
    ciw.seed(seed)
    simulation = ciw.Simulation(network)
    # A visit is recorded when it is over, which takes no longer than all of them in turn.
    simulation.simulate_until_max_time(ends + n * takes)
    visits = [v for v in simulation.get_all_records(only=["service"]) if v.node == 2]
    arrived = np.clip([v.arrival_date for v in visits], begins, ends)
    left = np.clip([v.exit_date for v in visits], begins, ends)
    return float((left - arrived).sum()) / (n * (ends - begins))
