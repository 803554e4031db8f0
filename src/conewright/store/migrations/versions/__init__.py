"""One module for each version of the tables; a published one is never changed."""
