"""Find: from the owner's words and a few readings to causes with odds and the next reading."""
