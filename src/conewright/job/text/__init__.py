"""A job as text: every way to read, change, merge, compare and convert one."""
