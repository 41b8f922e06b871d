"""Agreement of mean curves over the cycle (being written)."""
