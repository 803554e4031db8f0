"""How a sheet is set and a folder of papers kept."""
