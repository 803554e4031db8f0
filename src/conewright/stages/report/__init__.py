"""The report, and what every stage puts into one: origins, narrowing, words, cautions."""
