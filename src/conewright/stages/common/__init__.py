"""What several stages share: the solved circuit and load, what a plan changes, mirrored places."""
