"""What tests of figures share: the estimate of every measure of a batch."""

from __future__ import annotations

from petsim.study.batch import Batch
from petsim.study.measures import measures
from petsim.study.stats import Interval


def estimates(batch: Batch) -> dict[str, Interval]:
    """The estimate of each measure of a batch, by its name."""
    return {measure.name: measure.of(batch.values) for measure in measures(batch.model)}
