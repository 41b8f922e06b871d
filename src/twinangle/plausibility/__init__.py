"""Physical tests that hold instruments against each other and name what contradicts."""
