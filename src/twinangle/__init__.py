"""A validation workbench for joint angles from inertial sensors."""
