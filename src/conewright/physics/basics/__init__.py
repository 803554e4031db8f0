"""What all physics stands on: arrays and their validity, air, levels, bands, music."""
