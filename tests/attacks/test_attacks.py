"""A few tries of each attack; `python -m tests.attacks` has as many as one likes."""

import pytest

from tests.attacks.frame import attacks, fault_of

TRIES = 2


@pytest.mark.parametrize("seed", range(TRIES))
@pytest.mark.parametrize("name", attacks())
def test_attack_finds_no_fault(name, seed):
    assert fault_of(name, seed) is None
