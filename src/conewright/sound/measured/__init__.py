"""What is measured in recordings: polarity, impedance, a radio's output, rattles, calls."""
