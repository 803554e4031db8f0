"""Values as a repairer writes them: numbers, units, spreads, sizes, places on a panel, loads."""
