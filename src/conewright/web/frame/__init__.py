"""What several pages are made of: the revision looked at, answers, pictures, the plan."""
