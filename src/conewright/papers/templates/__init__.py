"""What is cut and drilled: rings, patches, panels, laid out on stock sheets."""
