"""The job document: what may be written about a vehicle, and what is wrong with it."""
