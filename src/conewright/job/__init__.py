"""What the repairer knows: quantities, the job document, typical values, and the resolved build."""
