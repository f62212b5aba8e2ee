"""Films of a batch: whose frames were taken on one, and what they show of it together."""
