"""Which spots stay dark, what hides them, and what helps."""
