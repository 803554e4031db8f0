"""Stage compare: as found and every plan side by side, what each is worth, and which to take."""
