"""Parts that can be bought: lists looked at, brought in by a map somebody confirms, and kept."""
