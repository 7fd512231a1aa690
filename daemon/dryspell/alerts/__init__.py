"""What is worth saying, to whom, and whether it arrived."""
