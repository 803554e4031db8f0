"""The best whole plan for the money: what may be changed, what it is worth, and the proof."""
