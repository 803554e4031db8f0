"""Parts that can be bought: their columns of numbers, what names a list of them, job entries."""
