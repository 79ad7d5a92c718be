"""The week as a routing problem: what it costs, and ways of solving it."""
