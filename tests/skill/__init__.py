"""How good the forecast and the learning are, on simulated farms whose truth is hidden from them.

`nature` and `fishes` are the hidden truth: growth, weather, luck, each of a form of its own and not
the forecast's. `grower` does what the plan says and writes it down, `season` plans again month by
month from those records as `planning` does, with a fixed stream of batches in the place of the
search. `measures` and `rivals` hold what was foretold against what came, `tables` prints it, and
`published` tries the learning on two years of real counts.
"""
