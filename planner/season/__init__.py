"""The season model in OR-Tools: `search.solve` is its door."""
