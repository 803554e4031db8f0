"""What the larger commands do, a module each."""
