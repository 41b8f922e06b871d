"""Package `twinangle.cycles`."""
