"""Recordings in the pages: made or sent here, listened to, and kept or thrown away."""
