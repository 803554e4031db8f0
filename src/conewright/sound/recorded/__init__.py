"""What a recording holds: its marks, its clock, its levels, and what spoiled it."""
