"""What every command stands on: streams, options, files, kept jobs."""
