"""A few bad names in all outputs."""

from pathlib import Path
from random import Random

from tests.attacks.names import attack


def test_bad_names(tmp_path: Path) -> None:
    wrong = [(seed, attack(Random(seed), tmp_path)) for seed in range(1)]
    assert [each for each in wrong if each[1] is not None] == []
