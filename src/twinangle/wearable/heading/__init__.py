"""Heading without, or in spite of, the magnetic field."""
