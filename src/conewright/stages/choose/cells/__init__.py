"""What may be combined on the channels of a vehicle, cell by cell: its numbers, work and money."""
