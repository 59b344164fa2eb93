"""Pictures and charts."""
