"""Who may come in: guards, certificate, names."""
