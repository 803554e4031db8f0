"""The search: numbers of options, bounds, exact plans, and the proof that none is better."""
