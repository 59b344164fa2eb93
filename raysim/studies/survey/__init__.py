"""What meter readings say of lamps and lining."""
