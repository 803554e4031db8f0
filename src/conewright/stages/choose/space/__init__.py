"""What may be combined: options of places, channels and radio, and the gates before them."""
