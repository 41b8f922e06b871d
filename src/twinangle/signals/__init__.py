"""The values that travel: recordings, uniform clocks, channels."""
