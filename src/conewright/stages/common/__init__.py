"""What several stages share: the solved circuit, what a plan changes, mirrored places."""
