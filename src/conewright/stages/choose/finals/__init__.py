"""Plans of the search as proposals, looked at by every stage; what was asked and found."""
