"""Pictures by which people decide: each takes a result and returns the axes it drew.

All of them take `ax`, the axes to draw on; without it they make a picture of their own. Matplotlib
loads with this module, and with no other.
"""

from petsim.view.plots.along import odds_along
from petsim.view.plots.bands import bands
from petsim.view.plots.chain import chain
from petsim.view.plots.chosen import chosen
from petsim.view.plots.convergence import convergence
from petsim.view.plots.cost import cost
from petsim.view.plots.differences import differences
from petsim.view.plots.explained import costs
from petsim.view.plots.files import as_svg, save
from petsim.view.plots.fitted import fitted
from petsim.view.plots.funnel import funnel
from petsim.view.plots.growth import growth
from petsim.view.plots.heat_maps import heat_map
from petsim.view.plots.laws import laws
from petsim.view.plots.lives import forms_over_time, misses_by_hour
from petsim.view.plots.missed import misses, whys
from petsim.view.plots.named import plot
from petsim.view.plots.odds import odds
from petsim.view.plots.predicted import predicted
from petsim.view.plots.scatter import scatter
from petsim.view.plots.timeline import timeline
from petsim.view.plots.tolerances import room
from petsim.view.plots.trials import power, trials
from petsim.view.plots.unknowns import unknowns

__all__ = [
    "as_svg",
    "bands",
    "chain",
    "chosen",
    "convergence",
    "cost",
    "costs",
    "differences",
    "fitted",
    "forms_over_time",
    "funnel",
    "growth",
    "heat_map",
    "laws",
    "misses",
    "misses_by_hour",
    "odds",
    "odds_along",
    "plot",
    "power",
    "predicted",
    "room",
    "save",
    "scatter",
    "timeline",
    "trials",
    "unknowns",
    "whys",
]
