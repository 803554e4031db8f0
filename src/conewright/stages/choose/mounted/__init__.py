"""Options in their places, many at once: solved by the stages' own physics, and their bounds."""
