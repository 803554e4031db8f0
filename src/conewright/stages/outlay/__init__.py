"""What a plan takes, reckoned once from what it changes: parts, steps, minutes, money."""
