"""What is played: test sounds as samples and as files."""
