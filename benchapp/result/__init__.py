"""What is stated of a run: value, interval, budget, decision, and what is known of the instruments."""
