"""What the house teaches: factors on the tables' figures, by shrinkage, for the next plan.

`learn` makes the factors, `applied` puts them into the tables, `rows` shows what they are worth.
"""

from planner.learning.applied import applied, applied_fish, used
from planner.learning.factors import Factor, Factors, Priors, priors_of, shipped_priors
from planner.learning.learn import learn
from planner.learning.review import LearnedRow, rows
from planner.learning.shrinkage import Prior

__all__ = [
    "Factor",
    "Factors",
    "LearnedRow",
    "Prior",
    "Priors",
    "applied",
    "applied_fish",
    "learn",
    "priors_of",
    "rows",
    "shipped_priors",
    "used",
]
