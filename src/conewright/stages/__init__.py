"""What the repairer asks: a build (or two) in, a report out."""
