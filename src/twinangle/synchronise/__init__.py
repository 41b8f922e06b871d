"""Package `twinangle.synchronise`."""
