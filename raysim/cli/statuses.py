"""Exit statuses of all commands."""

BAD_INPUT = 2
NO_FINITE_TIME = 3
INTERRUPTED = 130
UNFORESEEN = 70  # EX_SOFTWARE of sysexits.h, a fault of the program itself (from memory)
