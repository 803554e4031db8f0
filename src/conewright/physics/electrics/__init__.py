"""Radio, wiring and supply: loads, clean power, conductors and their heat, fuses."""
