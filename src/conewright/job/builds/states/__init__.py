"""What a build is made of: frozen states of vehicle, radio and places, values with their origin.

All classes are frozen and hashable, so that what depends on a part of a build (the acoustics of
one location, say) can be cached on that part.
"""
