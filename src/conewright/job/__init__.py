"""What the repairer knows: values, the job document and its text, and the resolved build."""
