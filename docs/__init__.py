"""The pages of the documentation, and what writes those of them that follow the code."""
