"""Sound in air: what radiates, what a door and its openings do, what a cabin adds."""
