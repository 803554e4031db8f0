"""The work of a plan: steps, parts, money, and what is read on the vehicle afterwards."""
