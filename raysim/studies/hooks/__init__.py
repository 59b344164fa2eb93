"""Where the hooks should go, and how many respirators."""
