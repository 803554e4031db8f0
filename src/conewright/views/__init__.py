"""How a report is said in plain text: its sections, tables and cells."""
