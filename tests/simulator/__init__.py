"""Recordings of test sounds with known truth, made without anything of conewright.

Other mathematics than the analysis': what is played is evaluated at the recorder's instants by a
chirp transform of its whole spectrum, cabins are image sources or sums of modes, harmonics a
polynomial at four times the rate.
"""
