"""Pictures of reports, one builder for terminal, page and paper."""
