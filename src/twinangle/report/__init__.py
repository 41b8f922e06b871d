"""Package `twinangle.report`."""
