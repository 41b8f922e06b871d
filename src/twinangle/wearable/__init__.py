"""Package `twinangle.wearable`."""
