"""Speed and memory against goals, each beside an alternative that does the same work."""
