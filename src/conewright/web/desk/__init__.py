"""Work done for the pages: processes that answer, and what is kept of it."""
