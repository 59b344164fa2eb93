"""Which lining, and what each buys."""
