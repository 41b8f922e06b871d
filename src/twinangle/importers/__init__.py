"""Package `twinangle.importers`."""
