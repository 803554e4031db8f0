"""Parts that can be bought: read from anybody's list, checked, and kept as columns of numbers."""
