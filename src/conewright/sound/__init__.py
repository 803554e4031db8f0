"""Sounds: what is played into a vehicle, what a recording of it holds, what is measured in it.

Pure functions on sample arrays and rates; files are read and written at the edge of each room.
"""
