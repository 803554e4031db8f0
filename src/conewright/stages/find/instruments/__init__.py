"""What instruments show in a vehicle with some faults, and how likely a reading is."""
