"""Past weather run through the daemon at speed: what it would have said, and what would have become of the coats."""
