"""Package `twinangle.agreement`."""
