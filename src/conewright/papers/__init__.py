"""What goes to the bench: templates, wiring, lists and the job sheet (stage make)."""
