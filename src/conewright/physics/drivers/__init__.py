"""Loudspeakers: the coil, the moving parts, the figures of a sheet, a pulse from a cell."""
