"""What is joined to what: schedule, diagram, flags, proof readings."""
