"""Drawing: one module a topic, each a function from results to a figure; computes nothing."""
