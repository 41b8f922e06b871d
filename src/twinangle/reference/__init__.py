"""Package `twinangle.reference`."""
