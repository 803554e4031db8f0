"""What the whole server stands on: limits, refusals, headers."""
