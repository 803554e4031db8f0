"""Anybody's list of parts, read and checked cell by cell; and parts told in words."""
