"""Exit codes, told in the README and kept for good."""

DONE = 0
NO_RECOMMENDATION = 1
"""A call ended without a recommendation: withheld, escalated, left unfinished."""
BAD_INPUT = 2
BAD_CONTENT = 3
BAD_STORE = 4
INTERRUPTED = 130
"""As shells count it: 128 and the number of the signal."""
