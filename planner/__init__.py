"""A season planner for growers who raise fish and plants in one water.

Begin at `planner.planning.make_plan`; `planner.farmfile.read_farm` reads a farm folder,
`planner.farm.Farm` is one, and `planner.plan.SeasonPlan` is what was decided.
"""
